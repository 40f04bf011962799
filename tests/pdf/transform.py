"""The asked move, in millimetres as seen: x right, y down, tilt clockwise, about the centre."""

import math
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Move:
    """What is to be done to a page as one looks at it."""

    dx: float = 0.0
    dy: float = 0.0
    tilt: float = 0.0  # degrees, clockwise as seen
    stretch_x: float = 0.0  # per cent
    stretch_y: float = 0.0  # per cent

    def matrix(self, width, height):
        """The map of the page's millimetres: stretch and tilt about its centre, then the shift."""
        angle = math.radians(self.tilt)
        # y points down, so this matrix carries +x towards +y: clockwise to the eye.
        rotation = np.array([[math.cos(angle), -math.sin(angle)],
                             [math.sin(angle), math.cos(angle)]])
        linear = rotation @ np.diag([1 + self.stretch_x / 100, 1 + self.stretch_y / 100])
        centre = np.array([width / 2, height / 2])
        shift = centre + [self.dx, self.dy] - linear @ centre
        return np.array([[*linear[0], shift[0]], [*linear[1], shift[1]], [0, 0, 1]])

    def arguments(self):
        """The move as Tympan's options, in words for the shift."""
        across = f"{abs(self.dx):g}mm {'right' if self.dx >= 0 else 'left'}"
        down = f"{abs(self.dy):g}mm {'down' if self.dy >= 0 else 'up'}"
        out = ["--move", f"{across}, {down}"]
        if self.tilt:
            out += ["--tilt", f"{self.tilt:g}"]
        if self.stretch_x or self.stretch_y:
            out += ["--stretch", f"{self.stretch_x:g}%,{self.stretch_y:g}%"]
        return out


def back_pages(backs, count):
    """The page numbers that `--backs` names, by the rules of the command line."""
    pages = range(1, count + 1)
    match backs:
        case "even":
            return {n for n in pages if n % 2 == 0}
        case "odd":
            return {n for n in pages if n % 2}
        case "all":
            return set(pages)
        case "second-half":
            return {n for n in pages if n > count // 2}
        case "last":
            return {count}
    chosen = set()
    for part in backs.split(","):
        first, _, last = part.partition("-")
        chosen |= set(range(int(first), int(last or first) + 1))
    return chosen
