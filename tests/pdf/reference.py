"""A correction made with pikepdf alone: the referee is tried on it before it judges Tympan.

It can also go wrong on purpose (`MISTAKES`), so that every check of the referee is seen to fail.
"""

import numpy as np
import pikepdf
from pikepdf import Array, Dictionary, Name, Stream

from byhand import num, seen_matrix
from transform import Move

MISTAKES = {
    "tilt": "tilted the wrong way",
    "nudge": "0.1 mm too far to the right",
    "stretch": "stretched by nothing",
    "centre": "about the page's corner instead of its centre",
    "annotation": "an annotation dropped",
    "stay": "annotations left where they were",
    "wrap": "q cm Q around the content instead of a form",
    "wrong-page": "the fronts moved as well",
    "recode": "a picture encoded anew",
    "font": "a font's file thrown away",
    "layer": "a hidden layer shown",
    "resources": "inherited resources lost",
    "rasterise": "the vectors turned into a picture",
}


def inherited(page, key):
    """The value of an inheritable entry."""
    node = page
    for _ in range(50):
        if key in node:
            return node[key]
        if "/Parent" not in node:
            return None
        node = node.Parent
    return None


def box_of(array):
    """A rectangle with its corners in order."""
    x0, y0, x1, y1 = (float(v) for v in array)
    return min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1)


def visible_box(page):
    """The CropBox within the MediaBox."""
    media = box_of(inherited(page, "/MediaBox"))
    crop = inherited(page, "/CropBox")
    crop = box_of(crop) if crop is not None else media
    return (max(media[0], crop[0]), max(media[1], crop[1]),
            min(media[2], crop[2]), min(media[3], crop[3]))


def square_matrix(values):
    """A PDF matrix (row vectors) as a 3 × 3 for column vectors."""
    a, b, c, d, e, f = (float(v) for v in values)
    return np.array([[a, c, e], [b, d, f], [0, 0, 1]])


def written(matrix):
    """The six numbers of a `cm`."""
    m = matrix
    return " ".join(num(v) for v in (m[0, 0], m[1, 0], m[0, 1], m[1, 1], m[0, 2], m[1, 2]))


def user_matrix(page, move: Move, centred=True):
    """The move in the page's own user space."""
    box = visible_box(page)
    rotate = int(inherited(page, "/Rotate") or 0)
    unit = float(page.get("/UserUnit", 1))
    seen = square_matrix(seen_matrix(box, rotate, unit))
    size = np.array([box[2] - box[0], box[3] - box[1]]) * unit * 25.4 / 72
    if rotate % 180:
        size = size[::-1]
    moved = move.matrix(*(size if centred else (0, 0)))
    return seen @ moved @ np.linalg.inv(seen)


def appearance(annotation):
    """The normal appearance stream in the current state, where there is one."""
    normal = annotation.get("/AP", Dictionary()).get("/N")
    if normal is None:
        return None
    if isinstance(normal, Stream):
        return normal
    state = annotation.get("/AS")
    return normal.get(str(state)) if state is not None else None


def appearance_matrix(annotation, form):
    """Algorithm 8.1 of ISO 32000-1, 12.5.5: from the form's box to the annotation's rectangle."""
    matrix = square_matrix(form.get("/Matrix", [1, 0, 0, 1, 0, 0]))
    x0, y0, x1, y1 = box_of(form.BBox)
    corners = matrix @ np.array([[x0, x1, x1, x0], [y0, y0, y1, y1], [1, 1, 1, 1]])
    low, high = corners[:2].min(axis=1), corners[:2].max(axis=1)
    rect = box_of(annotation.Rect)
    sx, sy = (rect[2] - rect[0]) / (high[0] - low[0]), (rect[3] - rect[1]) / (high[1] - low[1])
    return np.array([[sx, 0, rect[0] - sx * low[0]], [0, sy, rect[1] - sy * low[1]], [0, 0, 1]])


def correct_page(pdf, page, move, mistake=None):
    """Wraps one page's content in a form drawn through the matrix and flattens annotations."""
    matrix = user_matrix(page, move, centred=mistake != "centre")
    contents = page.get("/Contents")
    streams = list(contents) if isinstance(contents, Array) else [contents]
    data = b"\n".join(s.read_bytes() for s in streams if isinstance(s, Stream))
    resources = inherited(page, "/Resources")
    resources = Dictionary() if resources is None or mistake == "resources" else resources
    if mistake == "wrap":
        page.Contents = pdf.make_indirect(Stream(
            pdf, f"q {written(matrix)} cm\n".encode() + data + b"\nQ\n"))
        return
    media = box_of(inherited(page, "/MediaBox"))
    form = pdf.make_indirect(Stream(pdf, data, Dictionary(
        Type=Name.XObject, Subtype=Name.Form, BBox=Array(media), Resources=resources,
        Matrix=Array([1, 0, 0, 1, 0, 0]))))
    xobjects = Dictionary(Content=form)
    drawing = [f"q {written(matrix)} cm /Content Do Q"]
    kept = Array([])
    for index, annotation in enumerate(page.get("/Annots", Array([]))):
        annotation = pdf.make_indirect(pikepdf.Dictionary(annotation))
        look = appearance(annotation)
        hidden = int(annotation.get("/F", 0)) & 0x22
        if mistake == "annotation" and look is not None and index == 0:
            continue
        if mistake == "stay" or hidden:
            kept.append(annotation)
        elif look is None:
            x0, y0, x1, y1 = box_of(annotation.Rect)
            corners = matrix @ np.array([[x0, x1, x1, x0], [y0, y0, y1, y1], [1, 1, 1, 1]])
            low, high = corners[:2].min(axis=1), corners[:2].max(axis=1)
            annotation.Rect = Array([*low.tolist(), *high.tolist()])
            kept.append(annotation)
        else:
            name = f"Annotation{index}"
            xobjects["/" + name] = look
            placed = matrix @ appearance_matrix(annotation, look)
            drawing.append(f"q {written(placed)} cm /{name} Do Q")
    page.Resources = Dictionary(resources)
    existing = Dictionary(resources.get("/XObject", Dictionary()))
    for key, value in xobjects.items():
        existing[key] = value
    page.Resources.XObject = existing
    page.Contents = pdf.make_indirect(Stream(pdf, "\n".join(drawing).encode()))
    if "/Annots" in page:
        page.Annots = kept


def spoil(pdf, mistake):
    """Mistakes in the file as a whole."""
    images = [o for o in pdf.objects if isinstance(o, Stream) and o.get("/Subtype") == "/Image"]
    if mistake == "recode" and images:
        first = images[0]
        first.write(first.read_raw_bytes() + b"\0", filter=first.get("/Filter"),
                    decode_parms=first.get("/DecodeParms"))
    if mistake == "font":
        for item in pdf.objects:
            if isinstance(item, Dictionary):
                for key in ("/FontFile", "/FontFile2", "/FontFile3"):
                    if key in item:
                        del item[key]
    if mistake == "layer" and "/OCProperties" in pdf.Root:
        del pdf.Root.OCProperties.D["/OFF"]


def rasterise(pdf, page, source, index):
    """The page turned into one picture, as a careless tool would do it."""
    import pypdfium2

    image = pypdfium2.PdfDocument(source)[index].render(scale=4).to_pil().convert("RGB")
    box = visible_box(page)
    picture = pdf.make_indirect(Stream(pdf, image.tobytes(), Dictionary(
        Type=Name.XObject, Subtype=Name.Image, Width=image.width, Height=image.height,
        ColorSpace=Name.DeviceRGB, BitsPerComponent=8)))
    page.Resources = Dictionary(XObject=Dictionary(P=picture))
    page.Contents = pdf.make_indirect(Stream(
        pdf, f"q {box[2] - box[0]} 0 0 {box[3] - box[1]} {box[0]} {box[1]} cm /P Do Q".encode()))


def correct(source, target, move: Move, backs, password=None, mistake=None):
    """Corrects the pages whose numbers (from 1) `backs` holds."""
    if mistake == "tilt":
        move = Move(move.dx, move.dy, -move.tilt, move.stretch_x, move.stretch_y)
    if mistake == "nudge":
        move = Move(move.dx + 0.1, move.dy, move.tilt, move.stretch_x, move.stretch_y)
    if mistake == "stretch":
        move = Move(move.dx, move.dy, move.tilt, 0, 0)
    with pikepdf.open(source, password=password or "") as pdf:
        pages = [page.obj for page in pdf.pages]
        for number, page in enumerate(pages, 1):
            if number in backs or mistake == "wrong-page":
                if mistake == "rasterise":
                    rasterise(pdf, page, source, number - 1)
                correct_page(pdf, page, move, mistake)
        spoil(pdf, mistake)
        pdf.save(target, compress_streams=False,
                 stream_decode_level=pikepdf.StreamDecodeLevel.none)
