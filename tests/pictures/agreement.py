"""Tympan and OpenCV read the same pictures, and must say the same."""

import subprocess

import cv2

import printing
import with_opencv
from tympan import Field, Tympan, farthest

# How far Tympan's register error may lie from OpenCV's, and from the simulation's own truth, mm.
FROM_SCANS, FROM_TRUTH = 0.015, 0.015
# The demo's scanner runs unevenly and its printer bends the print a little, which the two spread over
# the sheet in ways of their own; its camera has a lens, and what shines through is blurred.
FROM_UNEVEN, FROM_PHOTO = 0.06, 0.15
# What the printers of the trials do to the two sides: shift (mm), tilt (degrees), stretch.
FRONTS = ((0.3, -0.8), 0.1, (0.001, -0.0005))
BACKS = ((-0.7, 1.9), -0.15, (-0.0005, 0.001))

# name: flip, what ties the scans, dpi, quarter turns of both, edge punched
TRIALS = {
    "sideways, ISO 838 holes": ("sideways", "holes", 300, 0, "left"),
    "endways, ISO 838 holes at head and foot": ("endways", "holes", 300, 0, "head"),
    "sideways, edges": ("sideways", "edges", 300, 0, None),
    "endways, edges, a quarter turn, 200 dpi": ("endways", "edges", 200, 1, None),
    "sideways, edges, upside down, beside an ID-1 card": ("sideways", "edges", 300, 2, None),
}


def sheet_of(tympan, number=1, edge=None):
    """One printed sheet of the set-up's, and what OpenCV finds on its pages."""
    fine = printing.render(tympan.pdf, printing.RENDER_DPI)
    first, second = number - 1, tympan.sheets + number - 1
    sheet = printing.Sheet(fine[first], fine[second], tympan.flip, printing.affine(*FRONTS),
                           printing.affine(*BACKS))
    sheet.holes = printing.punched_twice(edge) if edge else []
    half = [cv2.resize(fine[k], None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
            for k in (first, second)]
    return sheet, [with_opencv.Page(page) for page in half]


def scans_trial(name, program, folder):
    """Faults of one trial with simulated scans."""
    flip, by, dpi, quarters, edge = TRIALS[name]
    tympan = Tympan(program, folder / name.replace(" ", "-").replace(",", ""), flip, 1)
    sheet, pages = sheet_of(tympan, 1, edge)
    card = (120.0, 160.0) if "ID-1" in name else None
    pictures = []
    for side, tilt in (("front", 1.3), ("back", -0.8)):
        picture = printing.scan(sheet, side, dpi, tilt, quarters, seed=len(side))
        if card:
            picture = beside_a_card(picture, dpi)
        pictures.append(picture)
    files = [tympan.folder / f"{k}.png" for k in (1, 2)]
    for file, picture in zip(files, pictures):
        cv2.imwrite(str(file), picture)
    # OpenCV gets the pictures upright and without the card: it need not be as clever.
    width = None if not card else -round(printing.ID_1[0] * dpi / 25.4) - 60
    upright = [cv2.rotate(p[:, :width], [None, cv2.ROTATE_90_COUNTERCLOCKWISE,
                                         cv2.ROTATE_180][quarters])
               if quarters else p[:, :width] for p in pictures]
    reference = with_opencv.two_scans(*upright, pages, flip, by)
    told, refused = tympan.read(*files)
    if refused or len(told) != 1:
        return [f"not read: {refused}"], ""
    field = Field(told[0]["field"]).error_at
    return compare([("OpenCV", farthest(field, reference), FROM_SCANS),
                    ("the truth", farthest(field, sheet.register_error), FROM_TRUTH)])


def beside_a_card(picture, dpi):
    """The same scan on a wider bed, where a card of ISO/IEC 7810 ID-1 lies beside the sheet."""
    room = round(printing.ID_1[0] * dpi / 25.4) + 60
    wide = cv2.copyMakeBorder(picture, 0, 0, 0, room, cv2.BORDER_CONSTANT,
                              value=printing.BACKING)
    px_per_mm = dpi / 25.4
    printing.lay_card(wide, (picture.shape[1] + 20) / px_per_mm, 90.0, px_per_mm)
    return wide


def compare(distances):
    """(faults, what was measured) of distances with their limits, mm."""
    measured = ", ".join(f"{mm:.3f} mm from {what}" for what, mm, _ in distances)
    return [f"{mm:.3f} mm from {what}, at most {limit}"
            for what, mm, limit in distances if not mm <= limit], measured


def demo_trials(program, folder):
    """The project's own simulated scans and photo, as `tympan demo` writes them."""
    demo = folder / "demo"
    subprocess.run([program, "--data", folder / "none", "demo", demo], check=True,
                   stdout=subprocess.DEVNULL)
    data = ["--data", folder / "demo-data"]
    subprocess.run([program, *data, "setup", "import", demo / "set-up.json"], check=True,
                   stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    tympan = Tympan.__new__(Tympan)
    tympan.program, tympan.folder = program, folder / "demo-run"
    tympan.folder.mkdir()
    (tympan.folder / "data").symlink_to(folder / "demo-data")
    rendered = printing.render(demo / "test-sheets.pdf", with_opencv.GEOMETRY_DPI)
    pages = [with_opencv.Page(rendered[0]), with_opencv.Page(rendered[len(rendered) // 2])]
    grey = {path.stem: cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
            for path in sorted((demo / "pictures").glob("*.jpg"))}
    fronts, backs, photo = "scan-1-front", "scan-1-back", "photo-1"
    for name, stems, reference, limit in [
            ("the demo's scans", [fronts, backs],
             lambda: with_opencv.two_scans(grey[fronts], grey[backs], pages, "sideways", "edges"),
             FROM_UNEVEN),
            ("the demo's photo", [photo],
             lambda: with_opencv.photo(grey[photo], *pages, "sideways", 0.25), FROM_PHOTO)]:
        files = [demo / "pictures" / f"{stem}.jpg" for stem in stems]
        told, refused = tympan.read(*files, setup="demo printer")
        if refused or len(told) != 1:
            yield name, [f"not read: {refused}"], ""
            continue
        field = Field(told[0]["field"]).error_at
        yield name, *compare([("OpenCV", farthest(field, reference()), limit)])


def trials(program, folder):
    """(name, faults, what was measured) of every trial."""
    for name in TRIALS:
        try:
            yield name, *scans_trial(name, program, folder)
        except with_opencv.Unread as error:
            yield name, [f"the referee cannot read it: {error}"], ""
    yield from demo_trials(program, folder)
