"""Proves the signs and the places of the truth by an independent composition: poppler draws both
pages, the back is mirrored as the flip says, and the solid cards are measured in the pictures."""

import subprocess
import tempfile
from pathlib import Path

import cv2
import numpy as np

import deck
import judge
import produce
import scene
from sheets import A4, LETTER

DPI = 200
MM = 25.4 / DPI
TOLERANCE = 0.04  # mm; a third of a pixel

COMMON = {"gutter": (6, 6), "bleed": 0, "mark": "none", "radius": 0, "face": "dark", "back": "dark",
          "as_picture": None, "sheets": 1, "part": None, "back_fill": "all", "cards": ["mini", "tile"],
          "way": "alternating", "error": 1}
CASES = {
    "sideways, shift": {"flip": "sideways", "error_terms": ("shift",), "page": A4},
    "endways, shift": {"flip": "endways", "error_terms": ("shift",), "page": A4},
    "sideways, tilt": {"flip": "sideways", "error_terms": ("tilt",), "page": LETTER},
    "endways, tilt": {"flip": "endways", "error_terms": ("tilt",), "page": LETTER},
    "sideways, all, lying": {"flip": "sideways", "error_terms": ("shift", "tilt", "stretch"),
                             "landscape": True, "producer": "cairo"},
    "endways, all, lying": {"flip": "endways", "error_terms": ("shift", "tilt", "stretch"),
                            "landscape": True, "producer": "reportlab"},
    "sideways, all, scaled": {"flip": "sideways", "error_terms": ("shift", "tilt", "stretch"),
                              "scale": 0.96},
    "endways, flattened, askew": {"flip": "endways", "error_terms": ("shift", "tilt"),
                                  "producer": "flat", "flattened": 300, "skew": 1.0},
    "sideways, flattened, askew": {"flip": "sideways", "error_terms": ("shift",),
                                   "producer": "flat", "flattened": 150, "skew": 1.0},
    "sideways, browser": {"flip": "sideways", "error_terms": ("shift", "tilt"),
                          "producer": "browser"},
    "sideways, typeset": {"flip": "sideways", "error": 0, "producer": "latex",
                          "as_picture": "picture", "forms": False},
    "sideways, turned page": {"flip": "sideways", "error_terms": ("shift", "tilt"),
                              "boxes": "rotate90"},
    "endways, turned page": {"flip": "endways", "error_terms": ("shift", "tilt"),
                             "boxes": "rotate270"},
    "sideways, offset page": {"flip": "sideways", "error_terms": ("shift",), "boxes": "offset"},
    "endways, cropped page": {"flip": "endways", "error_terms": ("shift",), "boxes": "crop"},
}


def cards_on(picture):
    """The middles of the solid dark cards on a white page, mm: centres of mass of their area, in
    which pixels on the rim count by how dark they are."""
    dark = (picture < 140).astype(np.uint8)
    dark = cv2.morphologyEx(dark, cv2.MORPH_CLOSE, np.ones((9, 9), np.uint8))
    outlines, _ = cv2.findContours(dark, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    found = []
    for outline in outlines:
        _, (w, h), _ = cv2.minAreaRect(outline)
        if min(w, h) * MM < 25:
            continue
        left, top, wide, high = cv2.boundingRect(outline)
        left, top = max(0, left - 4), max(0, top - 4)
        window = picture[top:top + high + 8, left:left + wide + 8].astype(float)
        inside = np.zeros(window.shape, np.uint8)
        cv2.fillConvexPoly(inside, cv2.convexHull(outline) - [left, top], 1)
        core = cv2.erode(inside, np.ones((5, 5), np.uint8)).astype(bool)
        ink = np.median(window[cv2.erode(inside, np.ones((3, 3), np.uint8)).astype(bool) & ~core])
        area = np.where(core, 1.0, np.clip((255 - window) / (255 - ink), 0, 1))
        rows, columns = np.mgrid[:area.shape[0], :area.shape[1]] + 0.5
        found.append(((left + (area * columns).sum() / area.sum()) * MM,
                      (top + (area * rows).sum() / area.sum()) * MM))
    return np.array(found)


def drawn(path):
    """The pages as poppler draws them, grey."""
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run(["pdftocairo", "-png", "-gray", "-cropbox", "-r", str(DPI), path,
                        f"{folder}/p"], check=True, capture_output=True, timeout=120)
        return [cv2.imread(str(page), cv2.IMREAD_GRAYSCALE)
                for page in sorted(Path(folder).glob("p*.png"))]


def prove(name, folder):
    """Makes a case, measures it in pictures, and returns what does not agree with its truth."""
    fixed = {**COMMON, **CASES[name]}
    boxes = fixed.pop("boxes", None)
    file = deck.make("signs", list(CASES).index(name), **fixed)
    for side in file.sides:
        side.boxes = {boxes: True} if boxes else {}
    path = Path(folder) / f"signs-{file.seed:02}.pdf"
    produce.write(file.sides, path, file.producer, file.flattened)
    truth = file.truth()
    front, back = drawn(path)
    faults = []
    for page, picture in zip(truth["pages"], (front, back)):
        seen, meant = cards_on(picture), np.array(judge.centres(page["grids"][0]))
        if len(seen) != len(meant):
            return [f"page {page['page']}: {len(seen)} cards seen, {len(meant)} meant"]
        off = max(np.hypot(*(seen - place).T).min() for place in meant)
        if off > TOLERANCE:
            faults.append(f"page {page['page']}: a card lies {off:.3f} mm from where it is said to")
    # The sheet held up against a window: the back's picture turned over. Not by pixels, whose
    # count is the page's size rounded up.
    width, height = file.sides[0].size
    behind = np.array([(width - x, y) if file.flip == "sideways" else (x, height - y)
                       for x, y in cards_on(back)])
    places = cards_on(front)
    moved = np.array([behind[np.hypot(*(behind - place).T).argmin()] for place in places])
    known = np.column_stack([places, np.ones(len(places))])
    measured = np.vstack([np.linalg.lstsq(known, moved, rcond=None)[0].T, [0, 0, 1]])
    stated = truth["pairs"][0]["file_errors"][file.flip]
    said = scene.of_field(stated, file.sides[0].size)
    off = max(float(np.hypot(*(scene.apply(measured, p) - scene.apply(said, p)))) for p in places)
    if off > TOLERANCE:
        seen = scene.field(measured, file.sides[0].size)
        faults.append(f"seen {judge.brief(seen)}, said {judge.brief(stated)}, {off:.3f} mm apart")
    return faults
