"""What pages show, as lists of primitives, and the affine maps that place them.

Millimetres, x to the right, y down from the top left corner of the page as seen; angles clockwise
in degrees. Each painter (`paint.py`) draws the same primitives its own way.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

PT = 72 / 25.4
WHITE, BLACK = (1.0, 1.0, 1.0), (0.0, 0.0, 0.0)


@dataclass
class Rect:
    """A rectangle, filled, stroked or both; `radius` rounds its corners."""

    x: float
    y: float
    w: float
    h: float
    fill: tuple | None = None
    stroke: tuple | None = None
    width: float = 0.0
    radius: float = 0.0


@dataclass
class Shape:
    """A polygon."""

    points: list
    fill: tuple | None = None
    stroke: tuple | None = None
    width: float = 0.0


@dataclass
class Disc:
    """A circle."""

    x: float
    y: float
    r: float
    fill: tuple | None = None
    stroke: tuple | None = None
    width: float = 0.0


@dataclass
class Line:
    """A stroked line of `width` mm."""

    x0: float
    y0: float
    x1: float
    y1: float
    width: float
    rgb: tuple = BLACK


@dataclass
class Text:
    """Text with its baseline at `y`; `size` is the em in mm."""

    x: float
    y: float
    size: float
    string: str
    rgb: tuple = BLACK
    bold: bool = False


@dataclass
class Picture:
    """A Pillow image laid over the rectangle."""

    x: float
    y: float
    w: float
    h: float
    image: Any
    quality: int = 85


@dataclass
class Wash:
    """A gradient from the top of the rectangle to its foot."""

    x: float
    y: float
    w: float
    h: float
    top: tuple
    foot: tuple


@dataclass
class Group:
    """Items drawn through a map, inside a clip; `form` asks for a form XObject of that name."""

    items: list
    matrix: Any = None  # 3 × 3, or None
    clip: Rect | None = None
    form: str | None = None


def shift(x, y):
    """The map that shifts."""
    return np.array([[1.0, 0, x], [0, 1, y], [0, 0, 1]])


def about(linear, centre):
    """The linear map about a centre."""
    linear = np.asarray(linear, float)
    result = np.eye(3)
    result[:2, :2] = linear
    result[:2, 2] = np.asarray(centre) - linear @ np.asarray(centre)
    return result


def tilt(degrees, centre=(0.0, 0.0)):
    """A tilt, clockwise as seen (y is down), about a centre."""
    cos, sin = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return about([[cos, -sin], [sin, cos]], centre)


def scale(x, y, centre=(0.0, 0.0)):
    """A scale about a centre."""
    return about([[x, 0], [0, y]], centre)


def mirror(flip, size):
    """The flip of a page of this size, as the map between the frames of its two sides."""
    if flip == "sideways":
        return np.array([[-1.0, 0, size[0]], [0, 1, 0], [0, 0, 1]])
    return np.array([[1.0, 0, 0], [0, -1, size[1]], [0, 0, 1]])


def apply(matrix, place):
    """Where a place goes."""
    return (matrix @ [place[0], place[1], 1.0])[:2]


def field(error, size):
    """Shift, tilt and stretch of an affine map about the page's centre, as `inspect` states them."""
    centre = np.array(size) / 2
    moved = apply(error, centre) - centre
    (a, c), (b, d) = error[0, :2], error[1, :2]
    along = np.hypot(a, b)
    return {
        "shift_mm": {"x": moved[0], "y": moved[1]},
        "tilt_deg": float(np.degrees(np.arctan2(b, a))),
        "stretch_percent": {"x": 100 * (along - 1), "y": 100 * ((a * d - b * c) / along - 1)},
    }


def of_field(stated, size):
    """The affine map that a field states; the inverse of `field` where there is no shear."""
    centre = np.array(size) / 2
    x, y = (1 + stated["stretch_percent"][axis] / 100 for axis in "xy")
    linear = tilt(stated["tilt_deg"])[:2, :2] @ np.diag([x, y])
    moved = stated["shift_mm"]
    return shift(moved["x"], moved["y"]) @ about(linear, centre)
