"""Sheets of cards with known truth: where each cell is, on fronts and on backs."""

import random
from dataclasses import dataclass, field
from typing import Any

import numpy as np

import art
import scene
from scene import Group, Line, Rect, apply, shift

A4, LETTER, A3, A5 = (210.0, 297.0), (215.9, 279.4), (297.0, 420.0), (148.0, 210.0)
CARDS = {
    "poker": (63.5, 88.9), "poker-mm": (63.0, 88.0), "bridge": (56.0, 88.0), "mini": (44.0, 63.0),
    "small": (37.0, 57.0), "tarot": (70.0, 120.0), "square": (70.0, 70.0), "tile": (50.0, 50.0),
}
# Every line is drawn along the cut, so it tells the trim.
MARKS = ["outer", "crosses", "lines", "over", "outline", "none"]


@dataclass
class Lattice:
    """Cells of one size in rows and columns; lengths in mm on the page as seen."""

    columns: int
    rows: int
    trim: tuple
    gutter: tuple
    origin: tuple

    @property
    def pitch(self):
        """From cell to cell."""
        return (self.trim[0] + self.gutter[0], self.trim[1] + self.gutter[1])

    @property
    def size(self):
        """Of the whole block."""
        return tuple(n * p - g for n, p, g in
                     zip((self.columns, self.rows), self.pitch, self.gutter))

    def corner(self, column, row):
        """The top left corner of a cell's trim."""
        return (self.origin[0] + column * self.pitch[0], self.origin[1] + row * self.pitch[1])

    def cells(self):
        """(index, column, row) of each cell, row by row."""
        for index in range(self.columns * self.rows):
            yield index, index % self.columns, index // self.columns

    def mirrored(self, flip, size):
        """The lattice that stands behind this one on the other side."""
        x, y = self.origin
        if flip == "sideways":
            x = size[0] - x - self.size[0]
        else:
            y = size[1] - y - self.size[1]
        return Lattice(self.columns, self.rows, self.trim, self.gutter, (x, y))

    def behind(self, flip, column, row):
        """Column and row, on the other side, of the cell behind this one."""
        if flip == "sideways":
            return self.columns - 1 - column, row
        return column, self.rows - 1 - row

    def rescaled(self, factor, centre):
        """The lattice scaled about a place."""
        origin = tuple(c + factor * (o - c) for o, c in zip(self.origin, centre))
        return Lattice(self.columns, self.rows, tuple(factor * n for n in self.trim),
                       tuple(factor * n for n in self.gutter), origin)

    def truth(self, matrix, filled, known, bleed, radius):
        """The grid as `inspect --json` should state it, the page's content moved by `matrix`."""
        linear = matrix[:2, :2]
        along, down = linear @ [1, 0], linear @ [0, 1]
        longer = (float(np.hypot(*along)), float(np.hypot(*down)))
        origin = apply(matrix, self.origin)
        return {
            "columns": self.columns, "rows": self.rows,
            "trim_mm": [n * f for n, f in zip(self.trim, longer)],
            "pitch_mm": [n * f for n, f in zip(self.pitch, longer)],
            "origin_mm": [float(n) for n in origin],
            "rotation_deg": float(np.degrees(np.arctan2(along[1], along[0]))),
            "filled": filled, "trim_known": known, "bleed_mm": bleed, "corner_radius_mm": radius,
        }


@dataclass
class Side:
    """One page: what it shows and what is true of it. `moved` carries all of its content."""

    role: str
    size: tuple
    items: list
    lattices: list = field(default_factory=list)  # (lattice, filled, known, bleed, radius)
    moved: Any = None
    fold: Any = None
    boxes: dict = field(default_factory=dict)
    html: str | None = None

    @property
    def matrix(self):
        """The map of the content as drawn."""
        return np.eye(3) if self.moved is None else self.moved

    def drawn(self):
        """The items as they lie on the page."""
        return self.items if self.moved is None else [Group(self.items, self.moved)]

    def grids(self):
        """The page's grids, the one with the most area first."""
        made = [lattice.truth(self.matrix, *rest) for lattice, *rest in self.lattices]
        return sorted(made, key=lambda grid: -sum(grid["filled"]) * np.prod(grid["trim_mm"]))


def marks(style, lattice, bleed, radius, rgb=(0, 0, 0), width=0.25):
    """Marks along the cuts: (below the cards, above the cards)."""
    (x0, y0), (w, h) = lattice.origin, lattice.size
    cuts = [sorted({round(lattice.corner(c, r)[axis] + far, 6) for _, c, r in lattice.cells()
                    for far in (0, lattice.trim[axis])}) for axis in (0, 1)]
    below, above = [], []
    match style:
        case "outer":
            near, long = bleed + 1.0, 4.0
            for x in cuts[0]:
                for y, way in ((y0 - near, -1), (y0 + h + near, 1)):
                    below.append(Line(x, y, x, y + way * long, width, rgb))
            for y in cuts[1]:
                for x, way in ((x0 - near, -1), (x0 + w + near, 1)):
                    below.append(Line(x, y, x + way * long, y, width, rgb))
        case "crosses":
            for _, c, r in lattice.cells():
                x, y = lattice.corner(c, r)
                for px in (x, x + lattice.trim[0]):
                    for py in (y, y + lattice.trim[1]):
                        above.append(Line(px - 2, py, px + 2, py, width, rgb))
                        above.append(Line(px, py - 2, px, py + 2, width, rgb))
        case "lines" | "over":
            into = below if style == "lines" else above
            for x in cuts[0]:
                into.append(Line(x, y0 - 5, x, y0 + h + 5, width, rgb))
            for y in cuts[1]:
                into.append(Line(x0 - 5, y, x0 + w + 5, y, width, rgb))
        case "outline":
            for _, c, r in lattice.cells():
                x, y = lattice.corner(c, r)
                above.append(Rect(x, y, *lattice.trim, None, rgb, width, radius))
    return below, above


def is_white_edged(items):
    """Whether a drawn card has paper-white along its edge."""
    first = items[0]
    return isinstance(first, Rect) and first.fill is not None and min(first.fill) > 0.96


def card_group(items, lattice, column, row, bleed, radius, name=None, quarter=0):
    """A card put into its cell."""
    w, h = lattice.trim
    card = (h, w) if quarter % 2 else (w, h)
    inside = [art.turned(items, *card, quarter)] if quarter else items
    clip = Rect(0, 0, w, h, radius=radius) if radius and not bleed else None
    if bleed and clip is None:
        clip = Rect(-bleed, -bleed, w + 2 * bleed, h + 2 * bleed)
    return Group(inside, shift(*lattice.corner(column, row)), clip, name)


def fits(page, trim, gutter, reserve):
    """The most columns and rows on a page."""
    return tuple(int((length - 2 * reserve + g) // (n + g))
                 for length, n, g in zip(page, trim, gutter))


def rng_of(*parts):
    """A generator of random numbers that depends on the parts only."""
    return random.Random(" ".join(str(part) for part in parts))


def centred(page, columns, rows, trim, gutter, off=(0.0, 0.0)):
    """A lattice in the middle of the page, or off it."""
    block = Lattice(columns, rows, trim, gutter, (0, 0)).size
    origin = tuple((length - n) / 2 + o for length, n, o in zip(page, block, off))
    return Lattice(columns, rows, trim, gutter, origin)


def file_error(front, back, flip):
    """Where the back's content lies relative to the front's, seen from the front."""
    over = scene.mirror(flip, front.size)
    return over @ back.matrix @ over @ np.linalg.inv(front.matrix)
