"""Makes the corpus: real PDFs by nine independent producers, described in `corpus.json`.

    python make_corpus.py FOLDER

Needs Chromium, pdfLaTeX, Ghostscript and qpdf (see `run.py`) and the packages in
`requirements.txt`. All but the browser's and pdfTeX's dates and ids are repeatable.
"""

import json
import sys
from pathlib import Path

import byhand
import byhand_content
import byhand_paint
import producers
import rewrites

DRAWN = [
    (producers.reportlab_cards, "reportlab"), (producers.cairo_cards, "cairo"),
    (producers.fpdf_cards, "fpdf2"), (producers.img2pdf_scans, "img2pdf"),
    (producers.browser_cards, "chromium"), (producers.latex_cards, "pdftex"),
]
BY_HAND = [
    byhand.rotated, byhand.boxes, byhand.user_unit, byhand.inherited, byhand.sizes,
    byhand.repeated, byhand.bare, byhand_content.split_streams, byhand_content.unbalanced,
    byhand_content.inline_images, byhand_content.forms, byhand_content.layers,
    byhand_content.type3, byhand_content.patterns, byhand_paint.pictures,
    byhand_paint.transparency, byhand_paint.annotations, byhand_paint.fields,
]
REWRITTEN = [
    ("rotated", rewrites.linearised), ("annotations", rewrites.object_streams),
    ("inherited", rewrites.linearised_object_streams), ("split_streams", rewrites.modern),
    ("pictures", rewrites.old_version), ("transparency", rewrites.modern),
    ("patterns", rewrites.modern), ("reportlab_cards", rewrites.old_version),
    ("reportlab_cards", rewrites.owner_allows_changes), ("fields", rewrites.user_password),
    ("pictures", rewrites.user_password_aes128), ("cairo_cards", rewrites.owner_forbids_changes),
    ("latex_cards", rewrites.both_passwords), ("rotated", rewrites.appended),
]
# What each referee may be trusted with, mm at a fiducial; see referee.py for the reasons.
EXACT = 0.02
REFEREES = {"poppler": EXACT, "pdfium": EXACT}
OTHER_REFEREES = {
    # pdfium puts large pictures and the cells of tiling patterns on whole pixels.
    "img2pdf_scans": {"poppler": EXACT, "pdfium": 0.2},
    "patterns": {"poppler": EXACT, "pdfium": 0.25},
    # poppler puts Type 3 glyphs on whole pixels.
    "type3": {"poppler": 0.25, "pdfium": EXACT},
    # Only Ghostscript honours UserUnit.
    "user_unit": {"poppler": EXACT, "pdfium": EXACT, "ghostscript": 0.1},
    # pdfium draws form fields only when the page lies straight.
    "fields": {"poppler": EXACT, "ghostscript": 0.1},
}


def make(folder: Path):
    """Writes every file; returns the corpus as a list of descriptions."""
    folder.mkdir(parents=True, exist_ok=True)
    entries = []

    def note(path, producer, **more):
        referees = OTHER_REFEREES.get(path.stem.split("-")[0], REFEREES)
        entries.append({"file": path.name, "producer": producer, "referees": referees, **more})

    for recipe, producer in DRAWN:
        path = folder / f"{recipe.__name__}.pdf"
        recipe(path)
        note(path, producer)
    for recipe in BY_HAND:
        path = folder / f"{recipe.__name__}.pdf"
        recipe(path)
        note(path, "pikepdf")
    for stem, recipe in REWRITTEN:
        path = folder / f"{stem}-{recipe.__name__}.pdf"
        recipe(folder / f"{stem}.pdf", path)
        producer = "ghostscript" if recipe in (rewrites.modern, rewrites.old_version) else "qpdf"
        locked = recipe in (rewrites.user_password, rewrites.user_password_aes128,
                            rewrites.both_passwords)
        forbidden = recipe in (rewrites.owner_forbids_changes, rewrites.both_passwords)
        note(path, producer, password=rewrites.USER if locked else None,
             owner=rewrites.OWNER if forbidden else None)
    (folder / "corpus.json").write_text(json.dumps(entries, indent=1) + "\n")
    return entries


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    made = make(Path(sys.argv[1]))
    print(f"{len(made)} files in {sys.argv[1]}")
