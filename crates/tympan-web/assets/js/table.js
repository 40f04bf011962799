// The light table: a sheet as if held to a window, one side in front and the other seen through.
// Where things lie comes from the server; here they are only drawn, zoomed and dragged.

import { apply, inverse, shifted, then } from "./matrix.js";
import { Tiles } from "./tiles.js";

const CORNER_MM = 12;

export class LightTable {
  /** `moved(right, down)`: the backs were moved by so many mm, looking at the back. */
  constructor(element, work, { moved, moving, turned }) {
    this.element = element;
    this.canvas = element.querySelector("canvas");
    this.tiles = new Tiles(work, () => this.redraw());
    this.told = { moved, moving, turned };
    this.side = "front";
    this.when = "after";
    this.look = "print";
    this.through = 0.55;
    this.drag = [0, 0];
    this.corners = [];
    this.fitted = true;
    new ResizeObserver(() => { if (this.fitted) this.fit(); else this.redraw(); }).observe(element);
    this.#listen();
  }

  get view() { return this.shown?.[this.side === "front" ? "from_front" : "from_back"]; }

  show(shown) {
    const first = !this.shown;
    this.shown = shown;
    this.drag = [0, 0];
    if (first || this.fitted) this.fit(); else this.redraw();
  }

  set(what) {
    Object.assign(this, what);
    if (what.side && this.fitted) this.fit(); else this.redraw();
  }

  fit() {
    if (!this.view) return;
    const [left, top, right, bottom] = this.view.sheet;
    const { clientWidth: w, clientHeight: h } = this.element;
    this.scale = 0.92 * Math.min(w / (right - left), h / (bottom - top));
    this.origin = [w / 2 - this.scale * (left + right) / 2, h / 2 - this.scale * (top + bottom) / 2];
    this.fitted = true;
    this.redraw();
  }

  zoom(by, at) {
    const [x, y] = at ?? [this.element.clientWidth / 2, this.element.clientHeight / 2];
    const scale = Math.min(120, Math.max(0.4, this.scale * by));
    const real = scale / this.scale;
    this.origin = [x - real * (x - this.origin[0]), y - real * (y - this.origin[1])];
    this.scale = scale;
    this.fitted = false;
    this.redraw();
  }

  pan(dx, dy) {
    this.origin = [this.origin[0] + dx, this.origin[1] + dy];
    this.fitted = false;
    this.redraw();
  }

  redraw() {
    if (this.pending) return;
    this.pending = true;
    requestAnimationFrame(() => {
      this.pending = false;
      this.#draw();
    });
  }

  #draw() {
    if (!this.view) return;
    const { clientWidth: w, clientHeight: h } = this.element;
    this.#drawOn(this.canvas, w, h, [this.scale, 0, 0, this.scale, ...this.origin]);
    for (const { canvas, at } of this.corners) {
      const side = canvas.clientWidth;
      const scale = side / CORNER_MM;
      const [x, y] = this.#inView(at);
      this.#drawOn(canvas, side, side, [scale, 0, 0, scale, side / 2 - scale * x, side / 2 - scale * y]);
    }
    this.element.dispatchEvent(new Event("drawn"));
  }

  /** A point of the front's page, or of the back's where there is no front, in this view. */
  #inView([x, y]) {
    const map = this.view.front ?? this.view.back_before;
    return map ? apply(map, x, y) : [x, y];
  }

  #backMap() {
    const map = this.when === "before" ? this.view.back_before : this.view.back_after;
    return map && shifted(map, ...this.drag);
  }

  #drawOn(canvas, w, h, toPixels) {
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    const [pw, ph] = [Math.round(w * ratio), Math.round(h * ratio)];
    if (canvas.width !== pw || canvas.height !== ph) [canvas.width, canvas.height] = [pw, ph];
    const context = canvas.getContext("2d");
    const base = then(toPixels, [ratio, 0, 0, ratio, 0, 0]);
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.clearRect(0, 0, pw, ph);
    context.setTransform(...base);
    const [left, top, right, bottom] = this.view.sheet;
    context.save();
    context.shadowColor = "rgb(0 0 0 / .35)";
    context.shadowBlur = 14 * ratio;
    context.shadowOffsetY = 4 * ratio;
    context.fillStyle = "#fff";
    context.fillRect(left, top, right - left, bottom - top);
    context.restore();
    context.save();
    context.beginPath();
    context.rect(left, top, right - left, bottom - top);
    context.clip();
    const { front, back } = this.shown.sheet;
    const sides = [
      { page: front, map: this.view.front, lines: "solid", isNear: this.side === "front" },
      { page: back, map: this.#backMap(), lines: "broken", isNear: this.side === "back" },
    ].filter((side) => side.page && side.map);
    // What lies in front is printed first, and the other side shines through it.
    for (const { page, map, lines, isNear } of sides.sort((a, b) => b.isNear - a.isNear)) {
      const alone = sides.length === 1;
      context.globalAlpha = isNear || alone ? 1 : this.through;
      context.globalCompositeOperation = isNear ? "source-over" : "multiply";
      const all = then(map, base);
      context.setTransform(...all);
      const undo = inverse(all);
      const ends = [[0, 0], [pw, 0], [0, ph], [pw, ph]].map(([x, y]) => apply(undo, x, y));
      const seen = [
        Math.min(...ends.map((p) => p[0])), Math.min(...ends.map((p) => p[1])),
        Math.max(...ends.map((p) => p[0])), Math.max(...ends.map((p) => p[1])),
      ];
      const look = this.look === "outline" ? lines : "print";
      this.tiles.draw(context, page, Math.hypot(all[0], all[1]), seen, look);
    }
    context.restore();
    context.globalAlpha = 1;
    context.setTransform(...base);
    context.lineWidth = 1 / toPixels[0];
    context.strokeStyle = "#5b646c";
    context.strokeRect(left, top, right - left, bottom - top);
  }

  /** Whether dragging moves the backs here. */
  get isMovable() { return Boolean(this.shown?.sheet.back) && this.shown.how !== "setup"; }

  /** Moves the backs by so many mm of this view. */
  #move(dx, dy) {
    const [sx, sy] = this.view.on_back;
    this.told.moved(sx * dx, sy * dy);
  }

  #listen() {
    const { element } = this;
    let held = null;
    let space = false;
    const place = (event) => {
      const box = element.getBoundingClientRect();
      return [event.clientX - box.left, event.clientY - box.top];
    };
    element.addEventListener("pointermove", (event) => {
      if (!held) {
        element.classList.toggle("moving", this.isMovable && !space && this.#isOnSheet(place(event)));
        return;
      }
      const [x, y] = place(event);
      const [dx, dy] = [x - held.at[0], y - held.at[1]];
      if (held.pans) {
        held.at = [x, y];
        this.pan(dx, dy);
        return;
      }
      this.drag = [dx / this.scale, dy / this.scale];
      const [sx, sy] = this.view.on_back;
      this.told.moving(sx * this.drag[0], sy * this.drag[1]);
      this.redraw();
    });
    element.addEventListener("pointerdown", (event) => {
      if (event.button > 1) return;
      element.setPointerCapture(event.pointerId);
      const at = place(event);
      const pans = event.button === 1 || space || !this.isMovable || !this.#isOnSheet(at);
      held = { at, pans };
      if (!pans) this.told.moving(0, 0);
      element.focus({ preventScroll: true });
      event.preventDefault();
    });
    element.addEventListener("pointerup", () => {
      if (held && !held.pans && (this.drag[0] || this.drag[1])) this.#move(...this.drag);
      held = null;
    });
    element.addEventListener("pointercancel", () => { held = null; this.drag = [0, 0]; this.redraw(); });
    element.addEventListener("wheel", (event) => {
      event.preventDefault();
      this.zoom(Math.exp(-event.deltaY * (event.ctrlKey ? 0.01 : 0.0015)), place(event));
    }, { passive: false });
    element.addEventListener("keydown", (event) => {
      const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
      if (event.key === " ") space = true;
      else if (arrows && event.altKey) this.pan(-60 * arrows[0], -60 * arrows[1]);
      else if (arrows && this.isMovable) this.#move(...arrows.map((way) => way * (event.shiftKey ? 1 : 0.1)));
      else if (arrows) this.pan(-60 * arrows[0], -60 * arrows[1]);
      else if (event.key === "+" || event.key === "=") this.zoom(1.25);
      else if (event.key === "-") this.zoom(0.8);
      else if (event.key === "0") this.fit();
      else if (event.key === "t" || event.key === "T") this.told.turned();
      else return;
      event.preventDefault();
    });
    element.addEventListener("keyup", (event) => { if (event.key === " ") space = false; });
    element.addEventListener("blur", () => { space = false; });
  }

  #isOnSheet([x, y]) {
    if (!this.view) return false;
    const [left, top, right, bottom] = this.view.sheet;
    const [mx, my] = [(x - this.origin[0]) / this.scale, (y - this.origin[1]) / this.scale];
    return mx >= left && mx <= right && my >= top && my <= bottom;
  }
}
