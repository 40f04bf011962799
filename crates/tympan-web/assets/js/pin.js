// The millimetre grids of the pin's places: a click or the arrow keys say where the hole is. What a
// side of the grid is called comes from the server, as it is printed.

const $ = (id) => document.getElementById(id);
const PX_PER_MM = 10;

export class PinGrid {
  constructor() {
    this.element = $("grid");
    this.reach = Number(this.element.dataset.reach);
    this.zones = this.element.dataset.zones.split(";").map((zone) => {
      const [word, x, y] = zone.split(",");
      return { word, x: Number(x), y: Number(y) };
    });
    this.places = [...document.querySelectorAll("[data-place]")];
    this.words = new Map();
    this.spots = new Map();
    this.#listen();
    this.choose(this.places[0].dataset.place);
  }

  /** Each place with its words. */
  holes() {
    return [...this.words].filter(([, words]) => words.trim() !== "");
  }

  clear() {
    this.words.clear();
    this.spots.clear();
    this.choose(this.places[0].dataset.place);
  }

  choose(place) {
    this.place = place;
    $("pin-title").textContent = `Place ${place}`;
    $("hole").value = this.words.get(place) ?? "";
    this.#draw();
  }

  next() {
    const all = this.places.map((element) => element.dataset.place).sort();
    this.choose(all[(all.indexOf(this.place) + 1) % all.length]);
  }

  /** The hole is so many mm right of and below the cross. */
  #spot(x, y) {
    const within = (mm) => Math.round(Math.max(-this.reach, Math.min(this.reach, mm)) * 10) / 10;
    const spot = [within(x), within(y)];
    this.spots.set(this.place, spot);
    const said = this.zones
      .map(({ word, x: zx, y: zy }) => [word, zx * spot[0] + zy * spot[1]])
      .filter(([, mm]) => mm > 0)
      .map(([word, mm]) => `${mm.toFixed(1)} ${word}`);
    this.words.set(this.place, said.join(", ") || "0");
    $("hole").value = this.words.get(this.place);
    this.#draw();
  }

  #draw() {
    const spot = this.spots.get(this.place);
    const hole = $("the-hole");
    hole.toggleAttribute("hidden", !spot);
    if (spot) hole.setAttribute("transform", `translate(${spot[0] * PX_PER_MM} ${spot[1] * PX_PER_MM})`);
    for (const element of this.places) {
      const { place } = element.dataset;
      const done = Boolean(this.words.get(place)?.trim());
      element.classList.toggle("done", done);
      element.setAttribute("aria-pressed", String(place === this.place));
      element.setAttribute("aria-label", `Place ${place}${done ? `: ${this.words.get(place)}` : ""}`);
    }
  }

  #listen() {
    const svg = this.element.querySelector("svg");
    this.element.addEventListener("click", (event) => {
      const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
      this.#spot(point.x / PX_PER_MM, point.y / PX_PER_MM);
    });
    this.element.addEventListener("keydown", (event) => {
      const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
      if (!arrows) return;
      event.preventDefault();
      const [x, y] = this.spots.get(this.place) ?? [0, 0];
      const by = event.shiftKey ? 1 : 0.1;
      this.#spot(x + by * arrows[0], y + by * arrows[1]);
    });
    for (const element of this.places) {
      const choose = () => this.choose(element.dataset.place);
      element.addEventListener("click", choose);
      element.addEventListener("keydown", (event) => {
        if (event.key !== "Enter" && event.key !== " ") return;
        event.preventDefault();
        choose();
      });
    }
    $("hole").addEventListener("input", () => {
      this.words.set(this.place, $("hole").value);
      this.spots.delete(this.place);
      this.#draw();
    });
    $("hole").addEventListener("keydown", (event) => {
      if (event.key === "Enter") { event.preventDefault(); this.next(); }
    });
    $("next-place").addEventListener("click", () => { this.next(); $("hole").focus(); });
  }
}
