// Pictures of pages, asked for as they are needed, sharper as one zooms.

const SIDE = 1024;
const SCALES = [1, 2, 4, 8, 16, 32];
const KEPT = 160;

export class Tiles {
  constructor(work, arrived) {
    this.work = work;
    this.arrived = arrived;
    this.all = new Map();
    this.failed = false;
  }

  /** The picture, if it is here; else it is asked for. */
  tile(page, scale, column, row, look) {
    const key = `${page.file}/${page.page}/${scale}/${column}/${row}/${look}`;
    let image = this.all.get(key);
    if (image) {
      // The ones used last go last.
      this.all.delete(key);
    } else {
      image = new Image();
      image.decoding = "async";
      image.onload = () => this.arrived();
      image.onerror = () => { image.broken = true; this.failed = true; this.arrived(); };
      image.src = `/api/work/${this.work}/tile/${key}`;
    }
    this.all.set(key, image);
    if (this.all.size > KEPT) this.all.delete(this.all.keys().next().value);
    return image.complete && image.naturalWidth > 0 ? image : null;
  }

  /** Draws the part of a page that is seen. The canvas is in mm of the page; `pxPerMm` are its pixels. */
  draw(context, page, pxPerMm, seen, look) {
    const fit = SCALES.find((scale) => scale >= pxPerMm * 0.8) ?? SCALES.at(-1);
    // A coarser picture stands in until the finer one is there.
    const coarse = SCALES.filter((scale) => scale < fit && scale <= 4).at(-1);
    const whole = this.#eachTile(page, fit, seen);
    const ready = whole.map(([column, row]) => this.tile(page, fit, column, row, look));
    if (coarse && ready.some((image) => !image)) {
      for (const [column, row] of this.#eachTile(page, coarse, seen)) {
        const image = this.tile(page, coarse, column, row, look);
        const mm = SIDE / coarse;
        if (image) context.drawImage(image, column * mm, row * mm, image.naturalWidth / coarse, image.naturalHeight / coarse);
      }
      if (ready.every((image) => !image)) return;
      if (context.globalCompositeOperation !== "source-over" || look !== "print") return;
    }
    whole.forEach(([column, row], index) => {
      const image = ready[index];
      const mm = SIDE / fit;
      if (image) context.drawImage(image, column * mm, row * mm, image.naturalWidth / fit, image.naturalHeight / fit);
    });
  }

  #eachTile(page, scale, [left, top, right, bottom]) {
    const mm = SIDE / scale;
    const last = (length) => Math.ceil(length / mm - 1e-9) - 1;
    const from = (value) => Math.max(0, Math.floor(value / mm));
    const to = (value, length) => Math.min(last(length), Math.floor(value / mm));
    const tiles = [];
    for (let row = from(top); row <= to(bottom, page.h); row += 1) {
      for (let column = from(left); column <= to(right, page.w); column += 1) tiles.push([column, row]);
    }
    return tiles;
  }
}
