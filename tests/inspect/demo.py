"""The project's own demo game: where `crates/tympan-game` lays its cards, worked out by hand."""

import subprocess

from deck import File
from sheets import A4, LETTER, Lattice, Side

POKER, TILE = (63.5, 88.9), (45.0, 45.0)
# Columns, rows, trim, gutter, origin of the first trim: as many as fit in the middle of the paper,
# with 3 mm of bleed and 3 mm for marks kept free, gutters rounded down to half a millimetre.
DECK_A4 = Lattice(3, 3, POKER, (3.5, 6.0), (6.25, 9.15))
DECK_LETTER = Lattice(3, 3, POKER, (6.0, 0.0), (6.7, 6.35))
TILES_A4 = Lattice(4, 6, TILE, (6.0, 3.0), (6.0, 6.0))
# 50 cards with the common back, then the four ferries with backs of their own.
DECK = [9, 9, 9, 9, 9, 5, 4]
FILES = {
    "deck-a4.pdf": (A4, DECK_A4, DECK), "deck-letter.pdf": (LETTER, DECK_LETTER, DECK),
    "tiles-a4.pdf": (A4, TILES_A4, [24]),
}


def make(tool, folder):
    """Has the tool write its demo into the folder."""
    subprocess.run([str(tool), "--data", str(folder / "data"), "demo", str(folder / "demo")],
                   check=True, capture_output=True, timeout=300)


def truth(name):
    """What is true of one of the demo's files."""
    size, lattice, counts = FILES[name]
    file = File("demo", 0, "tympan", way="alternating", flip="sideways")
    behind = lattice.mirrored("sideways", size)
    for count in counts:
        shown = [index < count for index, _, _ in lattice.cells()]
        hidden = [False] * len(shown)
        for index, column, row in lattice.cells():
            c, r = lattice.behind("sideways", column, row)
            hidden[r * lattice.columns + c] = shown[index]
        # Only the fronts carry trim marks; of the backs, the pictures end at their bleed.
        file.sides.append(Side("front", size, [], [(lattice, shown, True, 3.0, None)]))
        file.sides.append(Side("back", size, [], [(behind, hidden, False, 3.0, None)]))
        file.pairs.append((len(file.sides) - 1, len(file.sides)))
    return {**file.truth(), "file": name}
