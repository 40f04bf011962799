"""A file of cards made up from a seed: what is printed on it, and what is true of it."""

from dataclasses import dataclass, field

import numpy as np

import art
import paint
import scene
import sheets
from scene import Group, Line, Picture, Rect, Text
from sheets import A4, CARDS, LETTER, Side

PRODUCERS = ["reportlab", "reportlab", "cairo"]


@dataclass
class File:
    """One case: the pages of a file (and of a second one, where backs are apart) and the truth."""

    kind: str
    seed: int
    producer: str = "reportlab"
    sides: list = field(default_factory=list)
    back_sides: list = field(default_factory=list)
    way: str | None = None
    pairs: list = field(default_factory=list)  # (front, back), pages from 1
    other_pairs: list = field(default_factory=list)  # as good, where nothing tells the difference
    flip: str | None = None
    flattened: int | None = None  # dpi
    scale: float = 1.0
    not_mirrored: list = field(default_factory=list)  # pages whose backs should be mirrored
    standing: dict | None = None  # by the flip, where it is the same for all cards
    notes: dict = field(default_factory=dict)

    @property
    def name(self):
        """The file's name without its ending."""
        return f"{self.kind}-{self.seed:03}"

    def truth(self):
        """Everything that is true of the file, for its JSON."""
        pages = [{"page": number, "role": side.role, "size_mm": list(side.size),
                  "grids": side.grids(), "fold": side.fold}
                 for number, side in enumerate(self.sides, 1)]
        backs = [{"page": number, "role": side.role, "size_mm": list(side.size),
                  "grids": side.grids(), "fold": None}
                 for number, side in enumerate(self.back_sides, 1)]
        return {
            "file": f"{self.name}.pdf", "kind": self.kind, "seed": self.seed,
            "back_file": f"{self.name}-backs.pdf" if self.back_sides else None,
            "producer": self.producer, "flattened_dpi": self.flattened, "way": self.way,
            "flip": self.flip, "scale": self.scale, "not_mirrored": self.not_mirrored,
            "pages": pages, "back_pages": backs, "pairs": self.pair_truths(),
            "other_pairs": self.other_pairs, "notes": self.notes,
        }

    def pair_truths(self):
        """Each pair with the error that each flip which nothing rules out would mean."""
        made, settled = [], False
        for front, back in self.pairs:
            one, other = self.sides[front - 1], (self.back_sides or self.sides)[back - 1]
            if front == back and not self.back_sides:
                made.append({"front": front, "back": back, "file_errors": {},
                             "standing": self.standing})
                continue
            errors = {flip: scene.field(self.error_by(one, other, flip), one.size)
                      for flip in ("sideways", "endways")}
            apart = {flip: np.hypot(*error["shift_mm"].values())
                     + (0 if self.matches(one, other, flip) else 100)
                     for flip, error in errors.items()}
            # An error is any size, so a flip is ruled out only by one that fits far better.
            possible = {flip for flip, length in apart.items()
                        if length <= 2 * min(apart.values()) + 0.75} | {self.flip}
            settled |= len(possible) == 1
            made.append({"front": front, "back": back, "possible": possible, "errors": errors,
                         "standing": self.standing})
        for pair in made:
            errors, possible = pair.pop("errors", {}), pair.pop("possible", set())
            pair.setdefault("file_errors", {
                flip: error for flip, error in errors.items()
                if flip == self.flip or (not settled and flip in possible)})
        return made

    def error_by(self, front, back, flip):
        """The file's error if the flip were this one: from the grids, whatever was meant."""
        over = scene.mirror(flip, front.size)
        if not front.lattices or not back.lattices:
            return sheets.file_error(front, back, flip)
        meant = front.lattices[0][0].mirrored(flip, front.size)
        has = back.lattices[0][0]
        slip = scene.shift(*(np.array(has.origin) - meant.origin))
        return over @ back.matrix @ slip @ over @ np.linalg.inv(front.matrix)

    @staticmethod
    def matches(front, back, flip):
        """Whether a back stands behind every card and nowhere else, when the backs leave gaps."""
        if not front.lattices or not back.lattices:
            return True
        (lattice, shown, *_), (_, behind, *_) = front.lattices[0], back.lattices[0]
        if all(behind):
            return True
        return all(behind[r * lattice.columns + c] == shown[index]
                   for index, column, row in lattice.cells()
                   for c, r in [lattice.behind(flip, column, row)])


class Draw:
    """Draws options from a seed, each overridden by what the kind fixes."""

    def __init__(self, kind, seed, fixed):
        self.rng = sheets.rng_of(kind, seed)
        self.fixed = fixed

    def one(self, name, *options):
        """One of the options."""
        drawn = self.rng.choice(options)
        return self.fixed.get(name, drawn)

    def between(self, name, low, high):
        """A number between two."""
        drawn = self.rng.uniform(low, high)
        return self.fixed.get(name, drawn)


@dataclass
class Style:
    """How the cards of a deck look and are drawn."""

    face: str
    back: str
    common: bool
    bleed: float
    radius: float
    mark: str
    as_picture: str | None
    dpi: float
    forms: bool
    quarters: tuple = (0,)


def picture_of(items, trim, style, seed):
    """The card as one picture, laid exactly over its trim and bleed, or beyond and clipped."""
    over = style.bleed + (1.5 if style.as_picture == "clip" else 0)
    w, h = trim
    clip = Rect(0, 0, w, h, radius=style.radius) if style.radius else None
    inside = [Group(items, None, clip)] if style.as_picture == "picture" else items
    image = paint.raster((w + 2 * over, h + 2 * over), inside, style.dpi, (-over, -over))
    return [Picture(-over, -over, w + 2 * over, h + 2 * over, image)]


def card(style, kind, seed, lattice, column, row, quarter, name):
    """A card in its cell; also whether paper-white runs along its edge."""
    trim = lattice.trim[::-1] if quarter % 2 else lattice.trim
    drawing = art.face if kind == "face" else art.back
    look = style.face if kind == "face" else style.back
    if look == "mixed":
        look = sheets.rng_of("look", seed).choice(art.FACES)
    beyond = style.bleed + (1.5 if style.as_picture == "clip" else 0)
    items = drawing(look, *trim, beyond, seed)
    white = sheets.is_white_edged(items)
    if style.as_picture:
        items = picture_of(items, trim, style, seed)
    group = sheets.card_group(items, lattice, column, row, style.bleed, style.radius,
                              name if style.forms else None, quarter)
    if style.as_picture == "clip" and group.clip is None:
        group.clip = Rect(0, 0, *lattice.trim)
    return group, white


def side_of(role, style, size, lattice, cells, mark_all=True):
    """A page: `cells` is {index: (seed, quarter)}."""
    items, whites = [], 0
    for index, column, row in lattice.cells():
        if index not in cells:
            continue
        seed, quarter = cells[index]
        group, white = card(style, "back" if role == "back" else "face", seed, lattice, column, row,
                            quarter, f"{role}-{seed}-{quarter}")
        items.append(group)
        whites += white
    width = (0.1, 0.25, 0.35)[int(100 * lattice.origin[0]) % 3]
    below, above = sheets.marks(style.mark, lattice, style.bleed, style.radius, width=width)
    known = style.mark != "none" or (style.bleed == 0 and whites * 2 <= len(cells))
    filled = [index in cells for index, _, _ in lattice.cells()]
    truth = (lattice, filled, known, style.bleed, style.radius or None)
    return Side(role, size, below + items + above, [truth])


def rules_page(size, seed, title="How to cross the marsh"):
    """A page of the rule book: a heading, paragraphs, one picture."""
    rng = sheets.rng_of("rules", seed)
    items = [Text(22, 30, 8, title, bold=True)]
    y = 42.0
    picture_at = rng.randrange(2, 5)
    for paragraph in range(9):
        lines = rng.randint(3, 7)
        if y + lines * 5.2 > size[1] - 25:
            break
        items += art.lines_of_words(rng, 22, y, size[0] - 50, lines, 4)
        y += lines * 5.2 + 4
        if paragraph == picture_at and y < size[1] - 80:
            items.append(Picture(25, y, 70, 42, art.marsh(rng, 70, 42)))
            y += 50
    return Side("other", size, items)


def lattice_for(draw, size, style_room):
    """A lattice that fits the page."""
    names = draw.one("cards", list(CARDS), ["poker"], ["poker-mm"])
    for _ in range(60):
        trim = CARDS[draw.rng.choice(names)]
        if draw.one("lying", False, False, False, True):
            trim = trim[::-1]
        gutter = draw.one("gutter", (0, 0), (0, 0), (2, 2), (3, 3), (6, 6), (4, 0), (1, 5))
        most = sheets.fits(size, trim, gutter, style_room)
        wanted = draw.fixed.get("count")
        if wanted:
            if wanted[0] <= most[0] and wanted[1] <= most[1]:
                return trim, gutter, wanted
            continue
        if min(most) >= 2:
            columns, rows = (draw.rng.randint(2, min(most[axis], (4, 5)[axis])) for axis in (0, 1))
            if draw.rng.random() < 0.6:
                columns, rows = min(most[0], 4), min(most[1], 5)
            return trim, gutter, (columns, rows)
    raise ValueError(f"nothing fits {size}: {draw.fixed}")


def page_size(draw):
    """A4 or Letter, upright or lying."""
    size = draw.one("page", A4, A4, LETTER)
    return size[::-1] if draw.one("landscape", False, False, True) else size


def make(kind, seed, **fixed):
    """A deck of cards on sheets. `fixed` overrides what the seed would draw."""
    draw = Draw(kind, seed, fixed)
    rng = draw.rng
    size = page_size(draw)
    room = draw.one("room", 6.0, 7.5)
    trim, gutter, (columns, rows) = lattice_for(draw, size, room)
    bleed = min(draw.one("bleed", 0, 0, 1.5, 3.0), min(gutter) / 2)
    mark = draw.one("mark", *sheets.MARKS)
    radius = 0.0 if bleed or mark in ("lines", "over", "crosses") else draw.one("radius", 0, 0, 3.2)
    style = Style(
        draw.one("face", "mixed", *art.FACES), draw.one("back", *art.BACKS),
        draw.one("common", True, True, False), bleed, radius, mark,
        draw.one("as_picture", None, None, "picture", "clip"), draw.one("dpi", 100, 150),
        draw.one("forms", False, True))
    if style.back == "white" and (mark == "none" or not style.common):
        style.back = "logo"
    flip = draw.one("flip", "sideways", "sideways", "endways")
    block = sheets.Lattice(columns, rows, trim, gutter, (0, 0)).size
    free = [(length - n) / 2 - room for length, n in zip(size, block)]
    off = tuple(rng.uniform(-f, f) if draw.one("off_centre", False, False, True) and f > 0 else 0.0
                for f in free)
    off = fixed.get("off", off)
    lattice = sheets.centred(size, columns, rows, trim, gutter, off)
    places = columns * rows
    count = draw.one("sheets", 1, 2, 2, 3)
    part = draw.one("part", None, None, None, max(1, places - rng.randint(1, places - 1)))
    part = part and min(part, places)
    back_fill = draw.one("back_fill", "all", "mirrored")
    file = File(kind, seed, draw.one("producer", *PRODUCERS), flip=flip)
    fronts, backs, deck = [], [], rng.randrange(1 << 20)
    for sheet in range(count):
        held = part if part and sheet == count - 1 else places
        quarters = [rng.choice(fixed.get("quarters", (0,))) for _ in range(places)]
        shown = {index: (f"{deck}-{sheet}-{index}", quarters[index]) for index in range(held)}
        behind = {}
        for index, column, row in lattice.cells():
            if back_fill != "all" and index not in shown:
                continue
            c, r = lattice.behind(flip, column, row)
            seed_of = f"{deck}" if style.common else f"{deck}-{sheet}-{index}"
            at = index if back_fill == "unmirrored" else r * columns + c
            behind[at] = (seed_of, quarters[index] % 2)
        fronts.append(side_of("front", style, size, lattice, shown))
        backs.append(side_of("back", style, size, lattice.mirrored(flip, size), behind))
    file.notes = {"card": list(trim), "gutter": list(gutter), "mark": mark, "face": style.face,
                  "back": style.back, "common": style.common, "as_picture": style.as_picture,
                  "forms": style.forms, "back_fill": back_fill, "part": part}
    quarters = fixed.get("quarters", (0,))
    if len(quarters) == 1:
        file.standing = stand(quarters[0])
    move(draw, file, fronts, backs, size)
    order(draw, file, fronts, backs, back_fill, style, part)
    return file


def stand(quarter):
    """How cards stand whose fronts are turned by quarters and whose backs lie the same way."""
    heads = [(0, -1), (1, 0), (0, 1), (-1, 0)]  # upright, to the right, ...
    (fx, fy), (bx, by) = heads[quarter], heads[quarter % 2]
    seen = {"sideways": (-bx, by), "endways": (bx, -by)}
    return {flip: "head_to_head" if fx * x + fy * y > 0 else "head_to_foot"
            for flip, (x, y) in seen.items()}


def move(draw, file, fronts, backs, size):
    """Puts the file's own error, a scale and the scanner's tilt into the pages."""
    rng, centre = draw.rng, (size[0] / 2, size[1] / 2)
    over = scene.mirror(file.flip, size)
    reach = draw.one("error", 0, 0, 0, 1)
    errors = [np.eye(3) for _ in backs]
    if reach:
        names = draw.one("error_terms", ("shift",), ("shift", "tilt"), ("shift", "stretch"),
                         ("shift", "tilt", "stretch"))
        same = draw.one("error_same", True, True, False)
        for number in range(len(backs)):
            errors[number] = errors[0] if same and number else one_error(rng, names, reach, size)
    file.scale = draw.one("scale", 1.0)
    scaled = scene.scale(file.scale, file.scale, centre)
    skew = draw.one("skew", 0.0)
    for sides in (fronts, backs):
        for number, side in enumerate(sides):
            moved = over @ errors[number] @ over if sides is backs else np.eye(3)
            moved = scaled @ moved
            if skew:
                slip = [rng.uniform(-0.8, 0.8) for _ in range(2)]
                moved = (scene.shift(*slip) @ scene.tilt(rng.uniform(-skew, skew), centre) @ moved)
            if not np.allclose(moved, np.eye(3)):
                side.moved = moved
    file.flattened = draw.fixed.get("flattened")


def one_error(rng, names, reach, size):
    """An error within the file, as a map of the front's frame."""
    stated = {"shift_mm": {"x": 0.0, "y": 0.0}, "tilt_deg": 0.0,
              "stretch_percent": {"x": 0.0, "y": 0.0}}
    if "shift" in names:
        angle, length = rng.uniform(0, 2 * np.pi), rng.uniform(0.2, 3.0) * reach
        stated["shift_mm"] = {"x": length * np.cos(angle), "y": length * np.sin(angle)}
    if "tilt" in names:
        stated["tilt_deg"] = rng.uniform(0.05, 0.4) * rng.choice([-1, 1])
    if "stretch" in names:
        stated["stretch_percent"] = {axis: rng.uniform(-0.5, 0.5) for axis in "xy"}
    return scene.of_field(stated, size)


def order(draw, file, fronts, backs, back_fill, style, part):
    """Puts the pages into the file in one of the ways that people do."""
    way = file.way = draw.one("way", "alternating")
    count, size = len(fronts), fronts[0].size
    placed = {}  # ("front", sheet) or ("back", sheet) -> index in the file
    pages = []

    def put(side, *names):
        pages.append(side)
        for name in names:
            placed[name] = len(pages)

    def rest():
        if draw.one("rules", False) and draw.rng.random() < 0.8:
            pages.append(rules_page(size, draw.rng.randrange(1 << 20)))

    rest()
    match way:
        case "alternating":
            for number in range(count):
                put(fronts[number], ("front", number))
                put(backs[number], ("back", number))
                rest()
        case "fronts_then_backs" | "backs_reversed":
            for number in range(count):
                put(fronts[number], ("front", number))
            rest()
            backwards = way == "backs_reversed"
            for number in reversed(range(count)) if backwards else range(count):
                put(backs[number], ("back", number))
        case "one_back":
            names = [("back", number) for number in range(count)]
            last = draw.one("back_at", "last", "last", "first") == "last"
            if not last:
                put(backs[0], *names)
            for number in range(count):
                put(fronts[number], ("front", number))
            if last:
                put(backs[0], *names)
        case "separate":
            for number in range(count):
                put(fronts[number], ("front", number))
            file.back_sides = backs
        case "one_sided":
            for number in range(count):
                put(fronts[number], ("front", number))
    rest()
    file.sides = pages
    if way == "separate":
        file.pairs = [(placed["front", n], n + 1) for n in range(count)]
    elif way != "one_sided":
        file.pairs = [(placed["front", n], placed["back", n]) for n in range(count)]
        if back_fill == "unmirrored" and part:
            file.not_mirrored = [placed["back", count - 1]]
    alike = style.common and back_fill == "all" and all(
        np.allclose(back.matrix, backs[0].matrix) for back in backs)
    if way in ("fronts_then_backs", "backs_reversed") and (alike or not part or count < 2):
        # Nothing in the pages tells which full sheet of backs belongs to which fronts.
        behind = [back for _, back in file.pairs]
        file.other_pairs = [[front, back] for (front, _), back
                            in zip(file.pairs, reversed(behind))]


def dashed(x0, y0, x1, y1, rgb=(0.5, 0.5, 0.5)):
    """A dashed line."""
    length = float(np.hypot(x1 - x0, y1 - y0))
    steps = int(length // 4)
    unit = ((x1 - x0) / length, (y1 - y0) / length)
    return [Line(x0 + unit[0] * 4 * n, y0 + unit[1] * 4 * n, x0 + unit[0] * (4 * n + 2.5),
                 y0 + unit[1] * (4 * n + 2.5), 0.25, rgb) for n in range(steps)]
