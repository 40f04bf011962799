"""Judges a corrected file by what independent renderers make of it.

The input's picture, carried through the asked transform by OpenCV, must be the output's picture.

Where each renderer is fit:
- poppler (pdftocairo): vectors and straight pictures to 0.006 mm. It puts Type 3 glyphs on whole
  pixels, ignores UserUnit (such pages are drawn at UserUnit times the resolution), and shows
  nothing of a page that starts with a stray Q.
- pdfium: it puts straight edges on whole pixels, so its pages are drawn through a rotation of 7
  degrees; then vectors are good to 0.002 mm and small pictures to 0.015 mm. Tiling cells and large
  pictures stay on whole pixels. It ignores UserUnit, and draws form fields only on straight pages.
- Ghostscript: honours UserUnit and draws form fields; rounds edges to a quarter of a pixel or more.
"""

import subprocess
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np
import pikepdf
import pypdfium2

import reference

DPI = 150
MM = 25.4
# Grey levels of 255 after a blur of 0.3 mm. Re-sampled line work and coarse pictures reach 64;
# a missing rule of 0.4 mm makes 120.
DIFFERENCE = 80
FIDUCIAL = 4.0
TIFF = ("-tiff", "-tiffcompression", "none")  # PNGs cost more than the drawing
SLANT = np.radians(7)


@dataclass
class Page:
    """One page's picture, height × width × 3, and the map from the page's mm to its pixels."""

    pixels: np.ndarray
    to_pixels: np.ndarray  # 3 × 3; a pixel's centre stands at a half
    size: tuple  # mm

    def pixel(self, place):
        """Where a place in mm lies in the picture."""
        return (self.to_pixels @ [place[0], place[1], 1])[:2]

    @property
    def density(self):
        """Pixels per mm."""
        return float(np.sqrt(abs(np.linalg.det(self.to_pixels[:2, :2]))))


def straight(pixels, size):
    """A page drawn upright at DPI."""
    return Page(pixels, np.diag([DPI / MM, DPI / MM, 1.0]), size)


def page_sizes(path, password=None):
    """Each page's (width, height) in mm as seen, and its UserUnit, by pikepdf."""
    sizes = []
    with pikepdf.open(path, password=password or "") as pdf:
        for page in pdf.pages:
            x0, y0, x1, y1 = reference.visible_box(page.obj)
            unit = float(page.obj.get("/UserUnit", 1))
            width, height = (x1 - x0) * unit * MM / 72, (y1 - y0) * unit * MM / 72
            if int(reference.inherited(page.obj, "/Rotate") or 0) % 180:
                width, height = height, width
            sizes.append((width, height, unit))
    return sizes


def upright_pdfium(path, sizes, password=None):
    """Pages drawn upright by pdfium: good for finding things, not for measuring them."""
    with pypdfium2.PdfDocument(str(path), password=password) as document:
        pages = []
        document.init_forms()
        for index, size in enumerate(sizes):
            page = document[index]
            pixels = page.render(scale=DPI / 72 * size[2], rev_byteorder=True).to_numpy()
            scale = np.diag([pixels.shape[1] / size[0], pixels.shape[0] / size[1], 1.0])
            pages.append(Page(pixels[:, :, :3].copy(), scale, size[:2]))
            page.close()
        return pages


def by_pdfium(path, sizes, password=None):
    """Pages drawn by pdfium through a rotation of 7 degrees, which keeps it from snapping edges."""
    with pypdfium2.PdfDocument(str(path), password=password) as document:
        return [aslant(document[index], size) for index, size in enumerate(sizes)]


def aslant(page, size):
    """One page by pdfium, turned by SLANT about its centre on a canvas that holds all of it."""
    width, height, _ = size
    scale = DPI / MM
    cos, sin = np.cos(SLANT), np.sin(SLANT)
    canvas = (int(np.ceil((width * cos + height * sin) * scale)),
              int(np.ceil((width * sin + height * cos) * scale)))
    linear = scale * np.array([[cos, -sin], [sin, cos]])
    shift = np.array(canvas) / 2 - linear @ [width / 2, height / 2]
    to_pixels = np.array([[*linear[0], shift[0]], [*linear[1], shift[1]], [0, 0, 1]])
    # pdfium's matrix takes the page as it would draw it at one pixel per point, y down.
    page_width, page_height = page.get_size()
    from_points = np.diag([width / page_width, height / page_height, 1.0])
    whole = to_pixels @ from_points
    bitmap = pypdfium2.PdfBitmap.new_native(*canvas, pypdfium2.raw.FPDFBitmap_BGR)
    bitmap.fill_rect((255, 255, 255, 255), 0, 0, *canvas)
    matrix = pypdfium2.raw.FS_MATRIX(
        whole[0, 0], whole[1, 0], whole[0, 1], whole[1, 1], whole[0, 2], whole[1, 2])
    clip = pypdfium2.raw.FS_RECTF(0, 0, *canvas)
    pypdfium2.raw.FPDF_RenderPageBitmapWithMatrix(
        bitmap, page, matrix, clip, pypdfium2.raw.FPDF_ANNOT)
    pixels = bitmap.to_numpy()[:, :, ::-1].copy()
    page.close()
    return Page(pixels, to_pixels, (width, height))


def run(*command):
    """Runs a program and returns what it printed; raises when it fails."""
    done = subprocess.run([str(part) for part in command], capture_output=True, timeout=180)
    if done.returncode:
        raise RuntimeError(f"{command[0]} failed: {done.stderr.decode(errors='replace')[-300:]}")
    return done


def read_picture(path):
    """A picture file as RGB."""
    return cv2.cvtColor(cv2.imread(str(path), cv2.IMREAD_COLOR), cv2.COLOR_BGR2RGB)


def by_poppler(path, sizes, password=None):
    """Pages drawn by poppler's cairo back end."""
    pages = []
    secret = ["-upw", password] if password else []
    with tempfile.TemporaryDirectory() as folder:
        plain = all(unit == 1 for _, _, unit in sizes)
        if plain:
            run("pdftocairo", *TIFF, "-cropbox", "-r", DPI, *secret, path, f"{folder}/p")
        for number, (_, _, unit) in enumerate(sizes, 1):
            if not plain:
                run("pdftocairo", *TIFF, "-cropbox", "-r", DPI * unit, "-f", number,
                    "-l", number, *secret, path, f"{folder}/p")
        found = sorted(Path(folder).glob("p-*.tif"), key=lambda p: int(p.stem.split("-")[1]))
        if len(found) != len(sizes):
            raise RuntimeError(f"poppler drew {len(found)} of {len(sizes)} pages")
        pages = [straight(read_picture(png), size[:2]) for png, size in zip(found, sizes)]
    return pages


def by_ghostscript(path, sizes, password=None):
    """Pages drawn by Ghostscript."""
    secret = [f"-sPDFPassword={password}"] if password else []
    with tempfile.TemporaryDirectory() as folder:
        run("gs", "-q", "-dBATCH", "-dNOPAUSE", "-dSAFER", "-sDEVICE=png16m", f"-r{DPI}",
            "-dUseCropBox", "-dTextAlphaBits=4", "-dGraphicsAlphaBits=4", "-dPrinted=false",
            *secret, f"-sOutputFile={folder}/p-%d.png", path)
        pages = [straight(read_picture(f"{folder}/p-{number}.png"), size[:2])
                 for number, size in enumerate(sizes, 1)]
    return pages


RENDERERS = {"poppler": by_poppler, "pdfium": by_pdfium, "ghostscript": by_ghostscript}


def darkness(pixels):
    """How dark each pixel is, 0 to 1."""
    return 1 - cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY).astype(np.float32) / 255


def find_fiducials(page):
    """About where the 4 mm black squares with white around them stand on an upright page, mm."""
    dark = darkness(page.pixels)
    _, _, stats, _ = cv2.connectedComponentsWithStats((dark > 0.6).astype(np.uint8))
    sx, sy = page.to_pixels[0, 0], page.to_pixels[1, 1]
    found = []
    for x, y, w, h, area in stats[1:]:
        if abs(w / sx - FIDUCIAL) > 0.3 or abs(h / sy - FIDUCIAL) > 0.3 or area < 0.9 * w * h:
            continue
        reach = int(round(1.2 * sx))
        around = dark[max(0, y - reach):y + h + reach, max(0, x - reach):x + w + reach].copy()
        around[reach - 2:-reach + 2, reach - 2:-reach + 2] = 0
        if around.size and around.max() < 0.12:
            found.append(((x + w / 2) / sx, (y + h / 2) / sy))
    return found


def centroid(page, place):
    """The centre of darkness in mm within a window about `place`; None without enough of it."""
    density = page.density
    half = (FIDUCIAL / 2 + 1.0) * density
    px, py = page.pixel(place)
    x0, x1, y0, y1 = int(px - half), int(px + half) + 1, int(py - half), int(py + half) + 1
    height, width = page.pixels.shape[:2]
    if x0 < 0 or y0 < 0 or x1 > width or y1 > height:
        return None
    window = darkness(page.pixels[y0:y1, x0:x1])
    window[window < 0.02] = 0
    mass = float(window.sum())
    if not 0.7 < mass / (FIDUCIAL * density) ** 2 < 1.4:
        return None
    x = (window.sum(axis=0) * (np.arange(x0, x1) + 0.5)).sum() / mass
    y = (window.sum(axis=1) * (np.arange(y0, y1) + 0.5)).sum() / mass
    return (np.linalg.inv(page.to_pixels) @ [x, y, 1])[:2]


@dataclass
class Verdict:
    """What was found about one page in one renderer."""

    fiducials: int = 0
    errors: list = field(default_factory=list)  # mm
    lost: int = 0
    difference: int = 0  # grey levels of 255 after a blur of 0.3 mm
    faults: list = field(default_factory=list)

    @property
    def worst(self):
        """The largest error of a fiducial, mm."""
        return max(self.errors, default=0.0)


def warp(page, matrix):
    """The picture carried through a map of millimetres, and the mask of where it is known."""
    centre = np.array([[1, 0, -0.5], [0, 1, -0.5], [0, 0, 1]])  # OpenCV counts from pixel centres
    to_pixels = centre @ page.to_pixels
    pixels = (to_pixels @ matrix @ np.linalg.inv(to_pixels))[:2]
    height, width = page.pixels.shape[:2]
    moved = cv2.warpAffine(page.pixels, pixels, (width, height), flags=cv2.INTER_CUBIC,
                           borderMode=cv2.BORDER_REPLICATE)
    inset = 1.5
    w, h = page.size
    corners = np.array([[inset, w - inset, w - inset, inset], [inset, inset, h - inset, h - inset],
                        [1, 1, 1, 1]])
    known = np.ones((height, width), np.uint8)
    for carried in (np.eye(3), matrix):
        mask = np.zeros((height, width), np.uint8)
        polygon = (to_pixels @ carried @ corners)[:2].T
        cv2.fillConvexPoly(mask, np.round(polygon).astype(np.int32), 1)
        known &= mask
    return moved, known.astype(bool)


def compare_moved(before, after, matrix, places, tolerance):
    """Judges a page that should have moved by `matrix` (mm to mm), given its fiducials' places."""
    verdict = Verdict()
    if before.pixels.shape != after.pixels.shape:
        verdict.faults.append(f"size changed: {before.pixels.shape} to {after.pixels.shape}")
        return verdict
    for place in places:
        seen = centroid(before, place)
        if seen is None:
            continue
        asked = (matrix @ [seen[0], seen[1], 1])[:2]
        got = centroid(after, asked)
        verdict.fiducials += 1
        if got is None:
            verdict.lost += 1
            continue
        verdict.errors.append(float(np.hypot(*(got - asked))))
    if verdict.lost:
        verdict.faults.append(f"{verdict.lost} of {verdict.fiducials} fiducials not found")
    if verdict.worst > tolerance:
        verdict.faults.append(f"fiducial {verdict.worst:.3f} mm from where it should be")
    moved, known = warp(before, matrix)
    sigma = 0.3 * before.density
    difference = cv2.absdiff(cv2.GaussianBlur(moved, (0, 0), sigma),
                             cv2.GaussianBlur(after.pixels, (0, 0), sigma)).max(axis=2)
    difference[~known] = 0
    verdict.difference = int(difference.max())
    if verdict.difference > DIFFERENCE:
        row, column = np.unravel_index(np.argmax(difference), difference.shape)
        x, y = (np.linalg.inv(before.to_pixels) @ [column, row, 1])[:2]
        verdict.faults.append(
            f"picture differs by {verdict.difference} of 255 at ({x:.0f}, {y:.0f}) mm")
    return verdict


def compare_same(before, after):
    """Judges a page that should not have changed at all."""
    verdict = Verdict()
    if before.pixels.shape != after.pixels.shape:
        verdict.faults.append("size changed")
    elif not np.array_equal(before.pixels, after.pixels):
        changed = int((before.pixels != after.pixels).any(axis=2).sum())
        verdict.faults.append(f"{changed} pixels changed on a page to be left alone")
    return verdict
