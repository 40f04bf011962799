"""Hand-built files, one trait of PDF each, written with pikepdf as low as it goes.

Feature pages carry fiducials drawn *by the feature itself* (in a pattern's cell, an annotation's
appearance, a hidden layer's neighbour...), so that the referee measures the feature's own movement.
"""

from pathlib import Path

import pikepdf
from pikepdf import Array, Dictionary, Name, Pdf, Stream

import saltmarsh
from saltmarsh import A4, A5, LETTER, PT, Line, Picture, Rect, Text

def num(value):
    """A number as PDF writes it, trimmed."""
    return f"{value:.5f}".rstrip("0").rstrip(".")


def seen_matrix(box, rotate=0, unit=1.0):
    """The `cm` from millimetres of the upright page (y down from its top left) to user space."""
    x0, y0, x1, y1 = box
    s = PT / unit
    match rotate % 360:
        case 0:
            return (s, 0, 0, -s, x0, y1)
        case 90:
            return (0, s, s, 0, x0, y0)
        case 180:
            return (-s, 0, 0, s, x1, y0)
        case 270:
            return (0, -s, -s, 0, x1, y1)
    raise ValueError(rotate)


def paint(items, matrix, images=None):
    """Operators that draw the primitives; pictures need `images`, a dict from JPEG to name."""
    out = ["q " + " ".join(num(v) for v in matrix) + " cm"]
    for item in items:
        match item:
            case Rect(x, y, w, h, rgb):
                out.append(" ".join(num(c) for c in rgb) + " rg "
                           + " ".join(num(v) for v in (x, y, w, h)) + " re f")
            case Line(x0, y0, x1, y1, width, rgb):
                out.append(" ".join(num(c) for c in rgb) + f" RG {num(width)} w "
                           f"{num(x0)} {num(y0)} m {num(x1)} {num(y1)} l S")
            case Text(x, y, size, string):
                out.append(f"0 g BT /F1 {num(size)} Tf 1 0 0 -1 {num(x)} {num(y)} Tm"
                           f" ({string}) Tj ET")
            case Picture(x, y, w, h, jpeg):
                if images is not None:
                    out.append(f"q {num(w)} 0 0 {num(-h)} {num(x)} {num(y + h)} cm"
                               f" {images[jpeg]} Do Q")
    return "\n".join(out) + "\nQ\n"


class Sheet:
    """A file under construction."""

    def __init__(self):
        self.pdf = Pdf.new()
        self.pdf.Root.Pages.Kids = Array([])
        self.pdf.Root.Pages.Count = 0
        self.font = self.pdf.make_indirect(Dictionary(
            Type=Name.Font, Subtype=Name.Type1, BaseFont=Name("/Times-Roman")))

    def stream(self, content, **entries):
        """An indirect stream with this dictionary."""
        data = content if isinstance(content, bytes) else content.encode("latin-1")
        return self.pdf.make_indirect(Stream(self.pdf, data, Dictionary(**entries)))

    def form(self, content, bbox, **entries):
        """A form XObject."""
        return self.stream(content, Type=Name.XObject, Subtype=Name.Form, BBox=Array(bbox),
                           **entries)

    def resources(self, **entries):
        """A resource dictionary with the serif font as F1."""
        return Dictionary(Font=Dictionary(F1=self.font), **entries)

    def add(self, page, parent=None):
        """Appends a page dictionary to /Kids, as it is."""
        page = page if page.is_indirect else self.pdf.make_indirect(page)
        node = parent if parent is not None else self.pdf.Root.Pages
        if parent is None or "/Parent" not in page:
            page.Parent = node
        node.Kids.append(page)
        node.Count = int(node.Count) + 1
        return page

    def cards(self, size, number, box=None, rotate=0, unit=1.0):
        """Content and resources of an ordinary page of cards with its pictures."""
        width, height = size
        side = (width, height) if rotate % 180 == 0 else (height, width)
        box = box or (0, 0, side[0] * PT / unit, side[1] * PT / unit)
        items = saltmarsh.card_page(size, number)
        images, xobjects = {}, Dictionary()
        for index, item in enumerate(item for item in items if isinstance(item, Picture)):
            name = f"/Im{index}"
            images[item.jpeg] = name
            xobjects[name] = self.stream(
                item.jpeg, Type=Name.XObject, Subtype=Name.Image, Width=640, Height=480,
                ColorSpace=Name.DeviceRGB, BitsPerComponent=8, Filter=Name.DCTDecode)
        content = paint(items, seen_matrix(box, rotate, unit), images)
        return content, self.resources(XObject=xobjects), box

    def cards_page(self, size, number, **options):
        """A page dictionary of cards."""
        content, resources, box = self.cards(size, number, **options)
        page = Dictionary(Type=Name.Page, MediaBox=Array(box), Resources=resources,
                          Contents=self.stream(content))
        return page

    def save(self, path: Path):
        """Writes the file without pikepdf's tidying where it can be had."""
        self.pdf.save(path, static_id=True, compress_streams=False,
                      object_stream_mode=pikepdf.ObjectStreamMode.disable)


def frame(size):
    """The fiducials alone, for pages whose middle is left to a feature."""
    items = []
    for cx, cy in saltmarsh.fiducial_centres(*size):
        items += saltmarsh.fiducial(cx, cy)
    return items


def feature_page(sheet, content, resources, size=A4, **entries):
    """A page with the frame of fiducials, then `content` in millimetres, y down."""
    box = (0, 0, size[0] * PT, size[1] * PT)
    a, b, c, d, e, f = seen_matrix(box)
    head = paint(frame(size), (a, b, c, d, e, f))
    matrix = " ".join(num(v) for v in (a, b, c, d, e, f))
    return Dictionary(Type=Name.Page, MediaBox=Array(box), Resources=resources,
                      Contents=sheet.stream(f"{head}q {matrix} cm\n{content}\nQ\n"), **entries)


def square(cx, cy):
    """Operators for a fiducial in millimetres, y down or up alike."""
    return (f"1 g {num(cx - 4)} {num(cy - 4)} 8 8 re f "
            f"0 g {num(cx - 2)} {num(cy - 2)} 4 4 re f\n")


def rotated(path: Path):
    """Every quarter turn, one written as a negative number, portrait and landscape."""
    sheet = Sheet()
    landscape = (A4[1], A4[0])
    for number, (rotate, size) in enumerate(
            [(0, A4), (90, A4), (180, A4), (270, A4), (-90, landscape), (450, landscape)], 1):
        page = sheet.cards_page(size, number, rotate=rotate)
        page.Rotate = rotate
        sheet.add(page)
    sheet.save(path)


def boxes(path: Path):
    """CropBoxes away from the MediaBox, boxes with their corners swapped, negative origins."""
    sheet = Sheet()
    width, height = A4[0] * PT, A4[1] * PT
    for number, (rotate, origin) in enumerate(
            [(0, (0, 0)), (0, (37, 51)), (90, (-120.5, 14)), (180, (20, -300)), (270, (11, 23))], 1):
        side = (width, height) if rotate % 180 == 0 else (height, width)
        x0, y0 = origin
        crop = (x0, y0, x0 + side[0], y0 + side[1])
        page = sheet.cards_page(A4, number, rotate=rotate, box=crop)
        page.CropBox = Array(crop)
        page.MediaBox = Array((crop[0] - 30, crop[1] - 17, crop[2] + 9, crop[3] + 44))
        page.TrimBox = Array((crop[0] + 9, crop[1] + 9, crop[2] - 9, crop[3] - 9))
        page.Rotate = rotate
        sheet.add(page)
    page = sheet.cards_page(A4, 6, box=(50, 60, 50 + width, 60 + height))
    page.MediaBox = Array((50 + width, 60 + height, 50, 60))
    sheet.add(page)
    page = sheet.cards_page(A4, 7)
    page.CropBox = Array((-40, -40, width + 40, height + 40))
    sheet.add(page)
    sheet.save(path)


def user_unit(path: Path):
    """Pages measured in units other than a point."""
    sheet = Sheet()
    for number, (unit, rotate) in enumerate([(1, 0), (2, 0), (0.5, 0), (2.5, 90), (0.5, 270)], 1):
        page = sheet.cards_page(A4, number, unit=unit, rotate=rotate)
        page.UserUnit = unit
        page.Rotate = rotate
        sheet.add(page)
    sheet.pdf.Root.Version = Name("/1.7")
    sheet.save(path)


def inherited(path: Path):
    """Resources, MediaBox, CropBox and Rotate taken from two levels of the page tree."""
    sheet = Sheet()
    content, resources, box = sheet.cards(A4, 1, rotate=90)
    root = sheet.pdf.Root.Pages
    root.MediaBox = Array((-20, -20, box[2] + 30, box[3] + 10))
    root.Resources = resources
    root.Rotate = 90
    middle = sheet.pdf.make_indirect(Dictionary(
        Type=Name.Pages, Parent=root, Kids=Array([]), Count=0, CropBox=Array(box)))
    root.Kids.append(middle)
    for _ in range(2):
        sheet.add(Dictionary(Type=Name.Page, Parent=middle, Contents=sheet.stream(content)),
                  parent=middle)
    root.Count = 2
    upright, own, own_box = sheet.cards(A4, 2)
    sheet.add(Dictionary(Type=Name.Page, Parent=root, Contents=sheet.stream(upright), Rotate=0,
                         MediaBox=Array(own_box), Resources=own))
    sheet.add(Dictionary(Type=Name.Page, Parent=root, Contents=sheet.stream(content),
                         CropBox=Array(box)))
    sheet.save(path)


def sizes(path: Path):
    """A4, Letter, both landscape, A5 and A3 in one file."""
    sheet = Sheet()
    for number, size in enumerate(
            [A4, LETTER, (A4[1], A4[0]), (LETTER[1], LETTER[0]), A5, saltmarsh.A3], 1):
        sheet.add(sheet.cards_page(size, number))
    sheet.save(path)


def repeated(path: Path):
    """One page object three times in /Kids, then another page with the same content stream."""
    sheet = Sheet()
    page = sheet.add(sheet.cards_page(A4, 1))
    sheet.add(page)
    sheet.add(page)
    twin = Dictionary(Type=Name.Page, MediaBox=page.MediaBox, Resources=page.Resources,
                      Contents=page.Contents)
    sheet.add(twin)
    sheet.save(path)


def bare(path: Path):
    """A page without resources, pages with nothing on them in several spellings."""
    sheet = Sheet()
    box = (0, 0, A4[0] * PT, A4[1] * PT)
    lines = paint([item for item in frame(A4)], seen_matrix(box))
    sheet.add(sheet.cards_page(A4, 1))
    sheet.add(Dictionary(Type=Name.Page, MediaBox=Array(box), Contents=sheet.stream(lines)))
    sheet.add(Dictionary(Type=Name.Page, MediaBox=Array(box)))
    sheet.add(Dictionary(Type=Name.Page, MediaBox=Array(box), Contents=Array([])))
    sheet.add(Dictionary(Type=Name.Page, MediaBox=Array(box), Resources=Dictionary(),
                         Contents=sheet.stream("")))
    sheet.add(Dictionary(Type=Name.Page, MediaBox=Array(box),
                         Contents=Array([sheet.stream(lines)]), Resources=Dictionary()))
    sheet.save(path)
