"""Prints, punches and scans test sheets with OpenCV: a simulation that shares nothing with the
project's own. Pages are rendered by poppler. All maps are 3 × 3 matrices on mm, y down."""

import subprocess
from dataclasses import dataclass, field

import cv2
import numpy

A4 = (210.0, 297.0)
RENDER_DPI = 600
# ISO 838: holes of 6 mm, their centres 80 mm apart and 12 mm from the edge, even about the
# sheet's middle.
ISO_838 = {"diameter": 6.0, "apart": 80.0, "inset": 12.0}
# ISO/IEC 7810 ID-1, with its corner radius of 3.18 mm.
ID_1 = (85.60, 53.98, 3.18)
BACKING, CARD_TONE = 12, 150


def render(pdf, dpi=RENDER_DPI):
    """All pages in grey, by poppler."""
    done = subprocess.run(["pdftoppm", "-r", str(dpi), "-gray", str(pdf)], check=True,
                          capture_output=True)
    pages, rest = [], done.stdout
    while rest:
        # P5, width and height, 255, each ended by one white space.
        head, width, height, _ = rest.split(maxsplit=4)[:4]
        assert head == b"P5"
        start = rest.index(b"255", len(head) + len(width) + len(height)) + 4
        size = int(width) * int(height)
        pages.append(numpy.frombuffer(rest, numpy.uint8, size, start)
                     .reshape(int(height), int(width)))
        rest = rest[start + size:]
    return pages


def affine(shift=(0, 0), tilt_deg=0.0, stretch=(0, 0), shear=0.0, about=(A4[0] / 2, A4[1] / 2)):
    """Stretch and shear, then tilt, then shift, about a place."""
    cos, sin = numpy.cos(numpy.radians(tilt_deg)), numpy.sin(numpy.radians(tilt_deg))
    linear = (numpy.array([[cos, -sin], [sin, cos]])
              @ numpy.array([[1 + stretch[0], shear], [0, 1 + stretch[1]]]))
    about = numpy.array(about)
    matrix = numpy.eye(3)
    matrix[:2, :2] = linear
    matrix[:2, 2] = about + numpy.array(shift) - linear @ about
    return matrix


def scaling(factor):
    """Multiplies both axes; a pixel's middle is at half."""
    return numpy.diag([factor, factor, 1.0])


def flip_matrix(flip):
    """How a place of one face is seen on the other."""
    if flip == "sideways":
        return numpy.array([[-1, 0, A4[0]], [0, 1, 0], [0, 0, 1.0]])
    return numpy.array([[1, 0, 0], [0, -1, A4[1]], [0, 0, 1.0]])


def at(matrix, x, y):
    """Where a matrix takes a place."""
    moved = matrix @ numpy.array([x, y, 1.0])
    return tuple(moved[:2] / moved[2])


@dataclass
class Sheet:
    """A printed sheet: its pages, where each side's print lies, and its holes seen from the
    front."""

    front: numpy.ndarray
    back: numpy.ndarray
    flip: str
    fronts: numpy.ndarray = field(default_factory=lambda: numpy.eye(3))
    backs: numpy.ndarray = field(default_factory=lambda: numpy.eye(3))
    holes: list = field(default_factory=list)

    def register_error(self, x, y):
        """Where the back's image of a place lies relative to the front's, seen from the front: what
        a reading should say."""
        turn = flip_matrix(self.flip)
        behind, before = at(turn @ self.backs @ turn, x, y), at(self.fronts, x, y)
        return behind[0] - before[0], behind[1] - before[1]

    def face(self, side, px_per_mm):
        """A side as it lies before one, with its holes bored through to the backing."""
        page, place = (self.front, self.fronts) if side == "front" else (self.back, self.backs)
        to_pixels = pixels(px_per_mm) @ place @ numpy.linalg.inv(pixels(RENDER_DPI / 25.4))
        size = tuple(round(side * px_per_mm) for side in A4)
        picture = cv2.warpAffine(page, to_pixels[:2], size, flags=cv2.INTER_LINEAR,
                                 borderValue=255)
        picture = cv2.convertScaleAbs(picture, alpha=0.86, beta=20)
        for x, y in self.holes:
            if side == "back":
                x, y = at(flip_matrix(self.flip), x, y)
            circle(picture, x, y, ISO_838["diameter"] / 2, px_per_mm, BACKING)
        return picture


def pixels(px_per_mm):
    """mm to OpenCV's pixels, whose middles are whole numbers."""
    matrix = scaling(px_per_mm)
    matrix[:2, 2] = -0.5
    return matrix


def circle(picture, x, y, radius, px_per_mm, tone):
    """A disc placed to 1/256 of a pixel."""
    fine = [round((v * px_per_mm - 0.5) * 256) for v in (x, y)]
    cv2.circle(picture, fine, round(radius * px_per_mm * 256), tone, cv2.FILLED, cv2.LINE_AA, 8)


def punched_twice(edge="left"):
    """The four holes of a punch used at two edges opposite each other, as ISO 838 has them."""
    inset, half = ISO_838["inset"], ISO_838["apart"] / 2
    if edge == "left":
        return [(x, A4[1] / 2 + d) for x in (inset, A4[0] - inset) for d in (-half, half)]
    return [(A4[0] / 2 + d, y) for y in (inset, A4[1] - inset) for d in (-half, half)]


def scan(sheet, side, dpi=300, tilt_deg=1.3, quarter_turns=0, backing=BACKING, seed=1,
         id_card=None, margin=8.0):
    """A scan: the sheet askew on the bed, turned clockwise by quarters, blurred by the optics, with
    noise. `id_card` lays a card of ISO/IEC 7810 ID-1 there, its corner in mm of the bed."""
    px_per_mm = dpi / 25.4
    fine = max(px_per_mm, 16.0)
    face = sheet.face(side, fine)
    bed = tuple(length + 2 * margin + 6 for length in A4)
    lie = affine((margin + 3, margin + 3), tilt_deg)
    size = tuple(round(length * px_per_mm) for length in bed)
    if fine > px_per_mm:
        face = cv2.GaussianBlur(face, None, 0.42 * fine / px_per_mm)
    to_pixels = pixels(px_per_mm) @ lie @ numpy.linalg.inv(pixels(fine))
    picture = cv2.warpAffine(face, to_pixels[:2], size, flags=cv2.INTER_LINEAR,
                             borderValue=backing)
    if id_card:
        lay_card(picture, *id_card, px_per_mm)
    picture = cv2.GaussianBlur(picture, None, 0.6)
    noise = numpy.random.default_rng(seed).normal(0, 2, picture.shape)
    picture = numpy.clip(picture + noise, 0, 255).astype(numpy.uint8)
    return numpy.ascontiguousarray(numpy.rot90(picture, -quarter_turns))


def lay_card(picture, x, y, px_per_mm):
    """Paints a plastic card in the size of a bank card."""
    width, height, radius = ID_1
    mask = numpy.zeros_like(picture)
    corners = [(x + cx, y + cy) for cx in (radius, width - radius)
               for cy in (radius, height - radius)]
    for corner in corners:
        circle(mask, *corner, radius, px_per_mm, 255)
    def box(x0, y0, x1, y1):
        first, last = ([round(v * px_per_mm) for v in p] for p in ((x0, y0), (x1, y1)))
        cv2.rectangle(mask, first, last, 255, cv2.FILLED)
    box(x + radius, y, x + width - radius, y + height)
    box(x, y + radius, x + width, y + height - radius)
    picture[mask > 127] = CARD_TONE
