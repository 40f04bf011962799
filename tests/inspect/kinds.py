"""The kinds of files, and how many of each are made. A case is `(kind, seed)`."""


import cardless
import deck
import desk
import scene
import sheets
import webpage
from deck import File
from sheets import A3, A4, CARDS, LETTER, Lattice, Side

VECTOR = {"as_picture": None}


def vector(seed):
    """Cards drawn as vectors, straight into the page."""
    return deck.make("vector", seed, **VECTOR, forms=False)


def forms(seed):
    """Cards drawn as form XObjects, the common back one form used many times."""
    return deck.make("forms", seed, **VECTOR, forms=True, producer="reportlab")


def pictures(seed):
    """One picture a card, placed over the trim or beyond it under a clip."""
    return deck.make("pictures", seed, as_picture=("picture", "clip")[seed % 2])


def flat150(seed):
    """The whole page one picture at 150 dpi, up to one degree askew."""
    return deck.make("flat150", seed, **VECTOR, flattened=150, producer="flat",
                     skew=(0.0, 0.3, 1.0)[seed % 3])


def flat300(seed):
    """The whole page one picture at 300 dpi, up to one degree askew."""
    return deck.make("flat300", seed, **VECTOR, flattened=300, producer="flat", sheets=1,
                     skew=(0.0, 1.0)[seed % 2])


def error(seed):
    """The file's own backs are off: shift, tilt, stretch."""
    terms = [("shift",), ("shift", "tilt"), ("shift", "stretch"), ("tilt",),
             ("shift", "tilt", "stretch")]
    return deck.make("error", seed, error=1, error_terms=terms[seed % len(terms)],
                     mark=("outer", "none", "outline", "crosses")[seed % 4],
                     face=("framed", "dark", "full")[seed % 3],
                     back=("dark", "picture", "wash", "stripes")[seed % 4],
                     bleed=0 if seed % 4 == 1 else 1.5)


def mixed(seed):
    """Cards of two sizes on a page."""
    draw = deck.Draw("mixed", seed, {"page": (A4, LETTER)[seed % 2], "landscape": False})
    rng, size = draw.rng, deck.page_size(draw)
    gutter = draw.one("gutter", (0, 0), (3, 3), (4, 2))
    large, little = [("poker", "mini"), ("tarot", "small"), ("square", "tile"),
                     ("bridge", "small")][seed % 4]
    style = deck.Style(draw.one("face", "framed", "dark", "full", "boxes"),
                       draw.one("back", "dark", "picture", "wash", "stripes"), True, 0.0, 0.0,
                       draw.one("mark", "none", "outline"), None, 150, False)
    flip, room = draw.one("flip", "sideways", "endways"), 8
    parts, y = [], room + rng.uniform(0, 4)
    for trim in (CARDS[large], CARDS[little]):
        columns = sheets.fits(size, trim, gutter, room)[0]
        rows = max(1, int((size[1] / 2 + 30 - y) // (trim[1] + gutter[1]))) if not parts else \
            int((size[1] - room - y + gutter[1]) // (trim[1] + gutter[1]))
        if rows < 1:
            break
        block = Lattice(columns, rows, trim, gutter, (0, 0))
        parts.append(Lattice(columns, rows, trim, gutter, ((size[0] - block.size[0]) / 2, y)))
        y += block.size[1] + rng.uniform(5, 9)
    file = File("mixed", seed, draw.one("producer", *deck.PRODUCERS), flip=flip, way="alternating")
    sides = []
    for role in ("front", "back"):
        page = Side(role, size, [])
        for number, lattice in enumerate(parts):
            if role == "back":
                lattice = lattice.mirrored(flip, size)
            cells = {index: (f"{seed}-{number}" if role == "back" else f"{seed}-{number}-{index}", 0)
                     for index, _, _ in lattice.cells()}
            one = deck.side_of(role, style, size, lattice, cells)
            page.items += one.items
            page.lattices += one.lattices
        sides.append(page)
    file.sides, file.pairs = sides, [(1, 2)]
    deck.move(draw, file, sides[:1], sides[1:], size)
    file.notes = {"sizes": [large, little], "gutter": list(gutter), "mark": style.mark}
    return file


def single(seed):
    """One card a page: the page is the card, or the card lies on a sheet with marks."""
    draw = deck.Draw("single", seed, {})
    rng = draw.rng
    trim = CARDS[draw.one("card", "poker", "tarot", "square", "poker-mm")]
    way = ("page", "trim_box", "sheet")[seed % 3]
    bleed = {"page": 0.0, "trim_box": 3.0, "sheet": draw.one("bleed", 0, 2.0)}[way]
    size = A4 if way == "sheet" else tuple(n + 2 * bleed for n in trim)
    style = deck.Style(draw.one("face", "framed", "full", "dark", "boxes"),
                       draw.one("back", "dark", "picture", "lozenges", "wash"), True, bleed, 0.0,
                       "outer" if way == "sheet" else "none",
                       draw.one("as_picture", None, "picture"), 150, False)
    file = File("single", seed, draw.one("producer", *deck.PRODUCERS), flip="sideways")
    fronts, backs = [], []
    for number in range(draw.one("sheets", 2, 3, 5)):
        lattice = sheets.centred(size, 1, 1, trim, (0, 0))
        fronts.append(deck.side_of("front", style, size, lattice, {0: (f"{seed}-{number}", 0)}))
        backs.append(deck.side_of("back", style, size, lattice, {0: (f"{seed}", 0)}))
        for side in (fronts[-1], backs[-1]):
            if way == "trim_box":
                side.boxes["trim"] = bleed
            if way != "sheet":  # the page itself or its TrimBox tells the trim
                grid = side.lattices[0]
                side.lattices[0] = (*grid[:2], True, *grid[3:])
    if way == "sheet":  # a card moved off its own page would be cut by the page
        deck.move(draw, file, fronts, backs, size)
    deck.order(draw, file, fronts, backs, "all", style, None)
    file.notes = {"way": way, "back": style.back, "face": style.face, "random": rng.random()}
    return file


def turned(seed):
    """Cards that lie on their sides or stand on their heads."""
    quarters = [(0, 2), (1,), (1, 3), (3,), (2,)][seed % 5]
    return deck.make("turned", seed, quarters=quarters, as_picture=None,
                     face=("framed", "dark", "full", "boxes")[seed % 4])


def fold_over(seed):
    """Fronts and backs on one side of the sheet, to be folded about a line and glued."""
    draw = deck.Draw("fold", seed, {})
    rng, upright = draw.rng, seed % 2 == 0
    size = draw.one("page", A4, LETTER)
    if not upright:
        size = size[::-1]
    trim = CARDS[draw.one("card", "poker", "bridge", "mini", "tile")]
    gutter = draw.one("gutter", (0, 0), (3, 3), (2, 2))
    gap = draw.one("gap", 0.0, 4.0, 10.0)
    style = deck.Style(draw.one("face", "framed", "dark", "full"),
                       draw.one("back", "dark", "picture", "stripes"), True, 0.0, 0.0,
                       draw.one("mark", "outline", "none"), None, 150, False)
    most = sheets.fits(size, trim, gutter, 8)
    half = [most[0], most[1]]
    half[1 if upright else 0] = max(1, int(((size[1] if upright else size[0]) / 2 - 8 - gap / 2)
                                           // (trim[1 if upright else 0] + gutter[0])))
    columns, rows = half
    block = Lattice(columns, rows, trim, gutter, (0, 0)).size
    if upright:
        origin = ((size[0] - block[0]) / 2, size[1] / 2 - gap / 2 - block[1])
        flip, fold = "endways", {"from": [0, size[1] / 2], "to": [size[0], size[1] / 2]}
    else:
        origin = (size[0] / 2 - gap / 2 - block[0], (size[1] - block[1]) / 2)
        flip, fold = "sideways", {"from": [size[0] / 2, 0], "to": [size[0] / 2, size[1]]}
    front = Lattice(columns, rows, trim, gutter, origin)
    back = front.mirrored(flip, size)
    page = Side("fold_over", size, [], fold=fold)
    for role, lattice in (("front", front), ("back", back)):
        # Folded about a line across the page, backs stand on their heads.
        quarter = 2 if role == "back" and upright else 0
        cells = {index: (f"{seed}" if role == "back" else f"{seed}-{index}", quarter)
                 for index, _, _ in lattice.cells()}
        one = deck.side_of(role, style, size, lattice, cells)
        page.items += one.items
        page.lattices += one.lattices
    if draw.one("fold_line", True, False) or gap == 0:
        page.items += deck.dashed(*fold["from"], *fold["to"])
        page.items.append(scene.Text(4, 6, 3, "Fold along the broken line, then glue.", (0.4,) * 3))
    file = File("fold", seed, draw.one("producer", *deck.PRODUCERS), [page], way="fold_over")
    file.pairs, file.flip, file.standing = [(1, 1)], flip, {flip: "head_to_head"}
    file.notes = {"gap": gap, "upright": upright, "mark": style.mark, "random": rng.random()}
    return file


def ways(seed):
    """The ways in which files say which page is the back of which."""
    way = ["fronts_then_backs", "backs_reversed", "one_back", "separate", "one_sided"][seed % 5]
    fixed = {}
    if way == "backs_reversed":
        fixed = {"part": 2, "back_fill": "mirrored", "sheets": 3}
    if way == "one_back":
        fixed = {"common": True, "part": None, "sheets": 3, "error_same": True}
    if way == "fronts_then_backs":
        fixed = {"sheets": 2 + seed // 5 % 2}
    if way == "one_sided":
        fixed = {"sheets": 2, "face": "mixed"}
    return deck.make("ways", seed, way=way, **fixed)


def rules(seed):
    """Pages of rules before, between and behind the sheets."""
    way = ["alternating", "fronts_then_backs", "one_back"][seed % 3]
    fixed = {"common": True} if way == "one_back" else {}
    return deck.make("rules", seed, rules=True, way=way, sheets=2, part=None, **fixed)


def part_filled(seed):
    """The last sheet is not full, and its backs stand behind its cards."""
    return deck.make("part", seed, part=1 + seed % 5, sheets=2, back_fill="mirrored",
                     back=("dark", "picture", "wash", "stripes")[seed % 4])


def not_mirrored(seed):
    """The last sheet is not full, and its backs were put where its fronts are."""
    return deck.make("unmirrored", seed, part=1 + 2 * (seed % 2), sheets=2, count=(3, 3),
                     cards=["poker", "poker-mm", "bridge"], lying=False, flip="sideways",
                     page=A4, landscape=False, gutter=(0, 0), back_fill="unmirrored",
                     common=seed % 2 == 0, off=(0.0, 0.0),
                     back=("dark", "picture", "wash", "stripes")[seed % 4])


def shrunk(seed):
    """Scaled by somebody's "fit to page"."""
    return deck.make("scaled", seed, scale=(0.978, 0.96, 0.94, 0.9589)[seed % 4],
                     cards=["poker"], mark=("outer", "outline", "none")[seed % 3], bleed=0,
                     face=("framed", "dark", "full")[seed % 3], back="dark")


def white(seed):
    """White cards with no more than a thin frame or a mark, on fronts, backs or both."""
    return deck.make("white", seed, face=("plain", "bordered", "suits")[seed % 3],
                     back=("thin", "logo", "white")[seed % 3 if seed < 6 else seed % 2],
                     mark=("none", "outline", "outer")[seed // 3 % 3])


def boxes(seed):
    """Page boxes away from the origin, turned pages, crop boxes, another unit."""
    file = deck.make("boxes", seed, sheets=1 + seed % 2, mark=("outer", "none")[seed % 2],
                     face="framed", back="dark")
    ways_ = ["offset", "rotate90", "rotate270", "rotate180", "crop", "unit"]
    for side in file.sides:
        side.boxes = {ways_[seed % len(ways_)]: True}
    file.notes["boxes"] = ways_[seed % len(ways_)]
    return file


def odd_page(seed):
    """Pages of sizes that no printer holds, and A3."""
    size = [(205.0, 290.0), A3, (260.0, 190.0), (330.0, 480.0)][seed % 4]
    return deck.make("odd", seed, page=size, landscape=False)


def browser(seed):
    """Printed to PDF by Chromium."""
    return deck.make("browser", seed, producer="browser", sheets=1, as_picture=(None, "picture")[
        seed % 2], forms=False)


def html(seed):
    """Written in HTML and CSS, printed to PDF by Chromium."""
    return webpage.made(seed)


def typeset(seed):
    """Set by pdfTeX: one picture a card, rules for marks."""
    return deck.make("latex", seed, producer="latex", sheets=1, as_picture="picture", radius=0,
                     quarters=(0,), mark=("none", "outer", "lines")[seed % 3], error=0,
                     flip="sideways")


def no_cards(seed):
    """Pages with no cards at all."""
    return cardless.make(seed)


def desk_pages(seed):
    """Forms, tables, pictures with captions: rows and columns without cards."""
    return desk.make(seed)


# kind: (recipe, how many in all, how many in the quick selection)
KINDS = {
    "vector": (vector, 30, 4), "forms": (forms, 12, 2), "pictures": (pictures, 22, 3),
    "flat150": (flat150, 18, 2), "flat300": (flat300, 10, 1), "error": (error, 25, 4),
    "mixed": (mixed, 10, 1), "single": (single, 12, 3), "turned": (turned, 10, 2),
    "fold": (fold_over, 10, 2), "ways": (ways, 30, 5), "rules": (rules, 9, 1),
    "part": (part_filled, 8, 1), "unmirrored": (not_mirrored, 6, 1), "scaled": (shrunk, 8, 1),
    "white": (white, 12, 2), "boxes": (boxes, 12, 2), "odd": (odd_page, 4, 1),
    "browser": (browser, 5, 1), "webpage": (html, 4, 1), "latex": (typeset, 5, 1), "cardless": (no_cards, 24, 8),
    "desk": (desk_pages, 26, 5),
}


def make(kind, seed):
    """One case."""
    return KINDS[kind][0](seed)


def cases(full, start=0):
    """The cases to try, as (kind, seed); seeds count from `start`."""
    return [(kind, seed) for kind, (_, many, few) in KINDS.items()
            for seed in range(start, start + (many if full else few))]


if __name__ == "__main__":
    print(len(cases(True)), len(cases(False)))
