"""Pages of PDFs placed on new sheets."""

import hashlib
from pathlib import Path

import numpy as np
import pikepdf

import referee
import sheet
from trials import USUAL as MOVE  # shift, tilt and stretch, small: no fiducial leaves its page


def corpus(folder: Path, entry, tool, work: Path):
    """Each page of a file, laid through a map on a sheet of the page's size."""
    path, password = folder / entry["file"], entry.get("password")
    sizes = referee.page_sizes(path, password)
    lines = []
    for number, (w, h, _) in enumerate(sizes, 1):
        lines.append(f"page {w:.9f} {h:.9f}")
        lines.append(sheet.place(path, number, None, 0, MOVE.matrix(w, h), (w, h)))
    name = f"corpus-{path.stem}"
    if entry.get("owner"):
        # Where the owner forbids changes, only the owner's word will do.
        passwords = [(path, password)] if password else []
        target, outcome = sheet.lay(tool, work, lines, f"{name}-forbidden", passwords)
        if outcome.code != 1 or "does not allow" not in outcome.output or target.exists():
            return [f"not refused: {outcome.output}"]
    word = entry.get("owner") or password
    passwords = [(path, word)] if word else []
    target, outcome = sheet.lay(tool, work, lines, name, passwords)
    if outcome.code != 0:
        return [f"exit code {outcome.code}: {outcome.output}"]
    faults = sheet.complaints(target)
    flat = [(w, h, 1.0) for w, h, _ in sizes]
    if [s[2] for s in referee.page_sizes(target)] != [1.0] * len(sizes):
        return [*faults, "the number of pages changed"]
    places = [referee.find_fiducials(page)
              for page in referee.upright_pdfium(path, sizes, password)]
    measured = [0] * len(sizes)
    for renderer, tolerance in entry["referees"].items():
        before = referee.RENDERERS[renderer](path, sizes, password)
        after = referee.RENDERERS[renderer](target, flat)
        for index, (old, new) in enumerate(zip(before, after)):
            matrix = MOVE.matrix(*sizes[index][:2])
            verdict = referee.compare_moved(old, new, matrix, places[index], tolerance)
            measured[index] = max(measured[index], verdict.fiducials)
            faults += [f"page {index + 1}, {renderer}: {fault}" for fault in verdict.faults]
    for index, count in enumerate(measured):
        if count < len(places[index]):
            faults.append(f"page {index + 1}: only {count} of {len(places[index])} fiducials seen")
    return faults + streams(path, target, password)


def streams(source, target, password):
    """Pictures and font programs of the output are the source's, none twice."""
    faults = []
    with pikepdf.open(source, password=password or "") as before, pikepdf.open(target) as after:
        # Twins in the source stay twins.
        known = list(embedded(before))
        for one in embedded(after):
            if one in known:
                known.remove(one)
            else:
                faults.append(f"{one[1]} is new or there twice")
    return faults


def embedded(pdf):
    """Digests of all pictures and font programs, as stored."""
    programs = ("/Type1C", "/CIDFontType0C", "/OpenType")
    for item in pdf.objects:
        if not isinstance(item, pikepdf.Stream):
            continue
        if item.get("/Subtype") == "/Image":
            what = "a picture"
        elif "/Length1" in item or item.get("/Subtype") in programs:
            what = "a font program"
        else:
            continue
        yield hashlib.sha256(item.read_raw_bytes()).hexdigest(), what


CARD = (57.0, 88.0)
PAPER = (210.0, 297.0)
# Fiducials on the card, in mm from its corner: no symmetry that a mistake could hide behind.
MARKS = [(8, 8), (49, 9), (8, 79), (44, 75), (24, 31)]


def card_page(path, cells):
    """A page with a card in each cell: cells are maps from the card's frame to the page's mm."""
    from reportlab.pdfgen import canvas

    unit = 72 / 25.4
    page = canvas.Canvas(str(path), pagesize=(PAPER[0] * unit, PAPER[1] * unit), invariant=1)
    page.transform(unit, 0, 0, -unit, 0, PAPER[1] * unit)
    for matrix in cells:
        page.saveState()
        page.transform(*matrix[:2, 0], *matrix[:2, 1], *matrix[:2, 2])
        for x, y in MARKS:
            page.rect(x - 2, y - 2, 4, 4, stroke=0, fill=1)
        page.restoreState()
    page.save()


def tilted(degrees, x, y):
    """A card's frame tilted about its corner, which lies at x, y."""
    angle = np.radians(degrees)
    cos, sin = np.cos(angle), np.sin(angle)
    return np.array([[cos, -sin, x], [sin, cos, y], [0, 0, 1]])


def register(flip, tool, work: Path):
    """Fronts in a grid, backs askew and unmirrored: laid afresh, the backs land behind them."""
    fronts = [sheet.shift(12 + 61 * c, 14 + 92 * r) for r in range(3) for c in range(3)]
    # As a careless program leaves them: not mirrored, off, each row tilted its own way.
    backs = [tilted(0, 9.3 + 60.5 * c, 17.1 + 91 * r) for r in range(3) for c in range(3)]
    sources = [work / f"{flip}-{side}.pdf" for side in ("front", "back")]
    card_page(sources[0], fronts)
    card_page(sources[1], backs)
    lines = [f"page {PAPER[0]} {PAPER[1]}"]
    wanted = [sheet.shift(15 + 60.0 * c, 12 + 91.0 * r) for r in range(3) for c in range(3)]
    for cell, place in zip(fronts, wanted):
        window = (cell[0, 2], cell[1, 2], *CARD)
        lines.append(sheet.place(sources[0], 1, window, 0, place, CARD, 1.0, "mirror"))
    lines.append(f"page {PAPER[0]} {PAPER[1]}")
    places = []
    for cell, place in zip(backs, wanted):
        # Where the card lies as the back is seen; endways, it stands on its head there.
        x, y = place[0, 2], place[1, 2]
        if flip == "sideways":
            at = sheet.shift(PAPER[0] - x - CARD[0], y)
        else:
            at = sheet.shift(x, PAPER[1] - y - CARD[1])
        places.append(at)
        window = (cell[0, 2], cell[1, 2], *CARD)
        lines.append(sheet.place(sources[1], 1, window, 0, at, CARD, 1.0, "mirror"))
    target, outcome = sheet.lay(tool, work, lines, f"register-{flip}")
    if outcome.code != 0:
        return [f"exit code {outcome.code}: {outcome.output}"]
    faults = sheet.complaints(target)
    sizes = referee.page_sizes(target)
    referee.DPI = 600
    front, back = referee.by_poppler(target, sizes)
    worst = 0.0
    for place, at in zip(wanted, places):
        corners = []
        for page, lies in [(front, place), (back, at)]:
            found = [referee.centroid(page, (lies @ [*mark, 1])[:2]) for mark in MARKS]
            if any(f is None for f in found):
                return [*faults, f"a fiducial is missing on the card at {lies[:2, 2]}"]
            offsets = np.array(found) - MARKS
            worst = max(worst, np.abs(offsets - offsets.mean(axis=0)).max())
            corners.append(offsets.mean(axis=0))
        worst = max(worst, float(np.hypot(*(corners[0] - turned_over(corners[1], flip)))))
    if worst > 0.01:
        faults.append(f"a back lies {worst:.4f} mm from its front")
    with pikepdf.open(target) as pdf:
        for page in pdf.pages:
            trim = [float(v) * 25.4 / 72 for v in page.trimbox]
            wide = [float(v) * 25.4 / 72 for v in page.obj.BleedBox]
            if not np.allclose(np.subtract(trim, wide), [1, 1, -1, -1], atol=1e-3):
                faults.append(f"the bleed box is not 1 mm around the trim box: {trim} {wide}")
            if not np.allclose([trim[2] - trim[0], trim[3] - trim[1]], [177, 270], atol=1e-3):
                faults.append(f"the trim box is not around all trims: {trim}")
    return faults


def turned_over(corner, flip):
    """The top left corner on the front of a trim that has this one on the back as it is seen."""
    x, y = corner
    return (np.array([PAPER[0] - x - CARD[0], y]) if flip == "sideways"
            else np.array([x, PAPER[1] - y - CARD[1]]))
