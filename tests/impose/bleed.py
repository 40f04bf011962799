"""Bleed that is made: the card as it was, and around it what numpy makes of it."""

from pathlib import Path

import numpy as np

import referee
import sheet

METHODS = ["keep", "mirror", "stretch", "colour"]
CARD = (60.0, 90.0)
BLEED = 4.0
CORNER = (30.0, 30.0)
PAPER = (120.0, 150.0)


def card(path):
    """A card of slanted bands up to its edges, in vectors, its edges on whole pixels."""
    from reportlab.pdfgen import canvas

    unit = 72 / 25.4
    page = canvas.Canvas(str(path), pagesize=(CARD[0] * unit, CARD[1] * unit), invariant=1)
    page.scale(unit, unit)
    page.setFillColorRGB(0.85, 0.9, 0.5)
    page.rect(0, 0, *CARD, stroke=0, fill=1)
    for index in range(-8, 10):
        shade = (index % 5) / 6
        page.setFillColorRGB(0.2 + shade, 0.4, 0.8 - shade)
        start = 11.0 * index
        band = page.beginPath()
        band.moveTo(start, 0)
        band.lineTo(start + 5, 0)
        band.lineTo(start + 45, 90)
        band.lineTo(start + 40, 90)
        band.close()
        page.drawPath(band, stroke=0, fill=1)
    page.save()


def judge(method, tool, work: Path):
    """Lays the card with bleed by this method."""
    source = work / f"card-{method}.pdf"
    card(source)
    lines = [f"page {PAPER[0]} {PAPER[1]}",
             sheet.place(source, 1, None, 0, sheet.shift(*CORNER), CARD, BLEED, method)]
    target, outcome = sheet.lay(tool, work, lines, f"bleed-{method}")
    if outcome.code != 0:
        return [f"exit code {outcome.code}: {outcome.output}"]
    faults = sheet.complaints(target)
    referee.DPI = 254  # 10 pixels to the millimetre
    [page] = referee.by_poppler(target, referee.page_sizes(target))
    [alone] = referee.by_poppler(source, referee.page_sizes(source))
    seen, meant = page.pixels.astype(int), alone.pixels.astype(int)
    x, y = (int(c * 10) for c in CORNER)
    w, h, b = int(CARD[0] * 10), int(CARD[1] * 10), int(BLEED * 10)
    inner = seen[y + 1:y + h - 1, x + 1:x + w - 1]
    if np.abs(inner - meant[1:h - 1, 1:w - 1]).max() > 3:
        faults.append("the card itself changed")
    outside = seen.copy()
    outside[y - b:y + h + b, x - b:x + w + b] = 255
    if outside.min() < 252:
        faults.append("something lies beyond the bleed")
    around = seen[y - b:y + h + b, x - b:x + w + b]
    if method == "keep":
        around = around.copy()
        around[b:b + h, b:b + w] = 255
        return faults if around.min() > 250 else [*faults, "there is bleed"]
    if method == "colour":
        for name, strip in [("left", around[b:-b, 2:b - 2]), ("top", around[2:b - 2, b:-b])]:
            if np.ptp(strip.reshape(-1, 3), axis=0).max() > 2:
                faults.append(f"the {name} bleed is not one colour")
        return faults
    mode = {"mirror": "symmetric", "stretch": "edge"}[method]
    # The outermost pixels may be blended with the paper.
    padded = np.pad(meant[1:h - 1, 1:w - 1], ((b + 1, b + 1), (b + 1, b + 1), (0, 0)), mode=mode)
    # The slanted bands meet their images to a tenth of a millimetre, so compare coarsely.
    import cv2
    soft = [cv2.GaussianBlur(p.astype(np.float32), (0, 0), 4) for p in (around, padded)]
    inside = np.s_[6:-6, 6:-6]
    off = np.abs(soft[0] - soft[1])[inside].max()
    if off > (25 if method == "mirror" else 40):
        faults.append(f"the bleed differs from what it should be by {off:.0f} of 255")
    return faults
