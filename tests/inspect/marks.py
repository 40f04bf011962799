"""Proves `marks-off`: files whose marks lie around their pictures, and the same files with the
pictures of the first page moved away from the marks."""

from pathlib import Path

import numpy as np

import deck
import produce
import scene
import sheets
from judge import APART, APART_FLAT
from sheets import A4, CARDS, LETTER

FAULT = "marks-off"
# How far what is said may lie off what was done, mm: drawn pages, pages that are one picture.
OFF, OFF_FLAT = 0.05, 0.25
PRODUCERS = [("reportlab", None), ("cairo", None), ("flat", 150), ("flat", 300)]
# Faces and backs with print up to the edge: of others nothing shows where they lie.
FACES = ["full", "dark", "framed"]
BACKS = ["picture", "dark", "wash"]
CASES = range(32)


def pages(seed, moved):
    """Front and back of one sheet, and how far the front's pictures lie off its marks."""
    rng = sheets.rng_of("marks", seed)
    producer, dpi = PRODUCERS[seed % 4]
    size, trim = rng.choice([A4, LETTER]), CARDS[rng.choice(["poker", "poker-mm", "bridge"])]
    bleed = rng.choice([1.5, 2.0, 3.0])
    lattice = sheets.centred(size, rng.choice([2, 3]) if bleed < 2.5 else 2, 2, trim,
                             (2 * bleed, 2 * bleed), (rng.uniform(-3, 3), rng.uniform(-8, 8)))
    style = deck.Style(FACES[seed // 4 % 3], BACKS[seed // 4 % 3], True, bleed, 0.0, "outer", None,
                       150, False)
    by = rng.uniform(0.7, 1.4) * np.array([rng.choice([-1, 1]), rng.choice([-1, 0, 1])])
    made = []
    for role in ("front", "back"):
        one = lattice if role == "front" else lattice.mirrored("sideways", size)
        cells = {index: (f"{seed}" if role == "back" else f"{seed}-{index}", 0)
                 for index, _, _ in one.cells()}
        side = deck.side_of(role, style, size, one, cells)
        if moved and role == "front":
            lines = [item for item in side.items if isinstance(item, scene.Line)]
            cards = [item for item in side.items if not isinstance(item, scene.Line)]
            side.items = lines + [scene.Group(cards, scene.shift(*by))]
        if dpi:
            tilt = scene.tilt(rng.uniform(-0.8, 0.8), (size[0] / 2, size[1] / 2))
            side.moved = tilt
        made.append(side)
    return made, producer, dpi, float(np.hypot(*by))


def prove(ask, seed, folder):
    """Asks about a file with its marks right and about the same with them off. Returns faults."""
    wrong = []
    for moved in (False, True):
        sides, producer, dpi, by = pages(seed, moved)
        name = f"marks-{seed:02}-{'off' if moved else 'right'} ({producer} {dpi or ''})"
        path = Path(folder) / "marks.pdf"
        produce.write(sides, path, producer, dpi)
        answer, fault = ask(path)
        if fault:
            wrong.append(f"{name}: {fault}")
            continue
        # On a scan of cards that have nothing in common it may stay open where the prints lie.
        untold = (moved and dpi and FACES[seed // 4 % 3] == "full"
                  and not (answer["pages"][0]["grid"] or {"disagreement_mm": 1})["disagreement_mm"])
        told = {page for one in answer["faults"] if one["code"] == FAULT for page in one["pages"]}
        if told != ({1} if moved and not untold else set()):
            wrong.append(f"{name}: {FAULT} said of pages {sorted(told)}")
        for page in answer["pages"]:
            meant = by if moved and not untold and page["page"] == 1 else 0.0
            said = (page["grid"] or {}).get("disagreement_mm")
            most = (OFF_FLAT if dpi else OFF) if meant else (APART_FLAT if dpi else APART)
            if said is None or abs(said - meant) > most:
                wrong.append(f"{name}: page {page['page']}, lines lie {meant:.2f} mm off, said: {said}")
    return wrong
