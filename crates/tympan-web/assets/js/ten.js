// Ten sheets before they are printed: one card's back from each, as a perfect cut would leave it.
// Where the page lies on each sheet comes from the server.

import { get, inWords } from "./api.js";
import { apply, inverse, then } from "./matrix.js";

const $ = (id) => document.getElementById(id);

export class TenSheets {
  constructor(work, tiles) {
    this.work = work;
    this.tiles = tiles;
    this.card = 0;
    $("ten-on").addEventListener("click", () => this.#step(1));
    $("ten-back").addEventListener("click", () => this.#step(-1));
    // Pictures arrive one by one, and the table is drawn with each; these follow when it rests.
    let waiting;
    $("table").addEventListener("drawn", () => {
      clearTimeout(waiting);
      waiting = setTimeout(() => this.#draw(), 120);
    });
    new ResizeObserver(() => this.#draw()).observe($("ten"));
  }

  /** Shows a sheet, or nothing, or says `why` there is nothing; asked for anew where `key` is another one. */
  async show(sheet, why, key) {
    $("ten").hidden = sheet === null;
    if (key === this.key) return;
    this.key = key;
    this.told = null;
    for (const part of document.querySelectorAll(".ten-rows, #ten .actions")) part.hidden = true;
    if (sheet === null) return;
    if (why) {
      $("ten-words").textContent = why;
      return;
    }
    $("ten-words").textContent = "Working out ten sheets …";
    const told = await get(`/api/work/${this.work}/ten/${sheet}`).catch((refused) => ({ refused }));
    if (key !== this.key) return;
    const { refused } = told;
    $("ten-words").textContent = refused ? inWords(refused) : told.in_words;
    if (refused) return;
    for (const part of document.querySelectorAll(".ten-rows, #ten .actions")) part.hidden = false;
    this.told = told;
    this.card = Math.min(this.card, told.cards.length - 1);
    this.#draw();
  }

  #step(by) {
    if (!this.told) return;
    const { length } = this.told.cards;
    this.card = (this.card + by + length) % length;
    this.#draw();
  }

  #draw() {
    if (!this.told || $("ten").hidden) return;
    const { cards, page } = this.told;
    const corners = cards[this.card];
    $("ten-card").textContent = `Card ${this.card + 1} of ${cards.length}`;
    const [xs, ys] = [corners.map((p) => p[0]), corners.map((p) => p[1])];
    const [left, top, right, bottom] = [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
    for (const when of ["before", "after"]) {
      document.querySelectorAll(`[data-ten="${when}"] canvas`).forEach((canvas, index) => {
        const map = this.told[when][index];
        if (map) this.#one(canvas, page, map, [left, top, right, bottom]);
      });
    }
  }

  #one(canvas, page, map, [left, top, right, bottom]) {
    const width = canvas.clientWidth;
    if (!width) return;
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    const scale = (width * ratio) / (right - left);
    const [w, h] = [Math.round(width * ratio), Math.round((bottom - top) * scale)];
    if (canvas.width !== w || canvas.height !== h) [canvas.width, canvas.height] = [w, h];
    const context = canvas.getContext("2d");
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.fillStyle = "#fff";
    context.fillRect(0, 0, w, h);
    const all = then(map, [scale, 0, 0, scale, -left * scale, -top * scale]);
    context.setTransform(...all);
    const undo = inverse(all);
    const ends = [[0, 0], [w, 0], [0, h], [w, h]].map(([x, y]) => apply(undo, x, y));
    const seen = [
      Math.min(...ends.map((p) => p[0])), Math.min(...ends.map((p) => p[1])),
      Math.max(...ends.map((p) => p[0])), Math.max(...ends.map((p) => p[1])),
    ];
    this.tiles.draw(context, page, scale, seen, "print");
  }
}
