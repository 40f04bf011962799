"""Faces and backs of cards of the invented game Saltmarsh Ferry.

Every function draws one card in its own space: the trim is (0, 0) to (w, h), colour that goes over
the edge reaches `bleed` beyond it. Many faces hold frames, lines and boxes of their own, which a
finder must not take for the card's edge.
"""

import random

from PIL import Image

import saltmarsh
from scene import BLACK, WHITE, Disc, Group, Line, Picture, Rect, Shape, Text, Wash, shift, tilt

NAMES = [*saltmarsh.CARDS, "Bell at Dusk", "Oar and Pole", "Spring Tide", "The Widow's Light",
         "Cockle Field", "Drowned Lane", "Ropewalk", "Ferry Token"]
WORDS = ("pay one fare and draw a card then move the ferry to the next landing if the tide is low "
         "you may cross on foot place a lantern here when the bell rings discard all eels").split()
FACES = ["framed", "full", "bordered", "dark", "plain", "suits", "boxes"]
BACKS = ["dark", "lozenges", "picture", "wash", "stripes", "thin", "logo", "white"]


def tint(rng, low, high):
    """A colour between two levels of brightness."""
    return tuple(round(rng.uniform(low, high), 3) for _ in range(3))


def marsh(rng, w, h, dpi=110):
    """A textured picture for w × h mm."""
    size = [max(24, round(length * dpi / 25.4)) for length in (w, h)]
    image = saltmarsh.marsh_image(*size, seed=rng.randrange(1 << 30))
    bands = list(image.split())
    rng.shuffle(bands)  # dusk, dawn, fog
    return Image.merge("RGB", bands)


def ground(w, h, bleed, fill):
    """Colour over the whole card and its bleed."""
    return Rect(-bleed, -bleed, w + 2 * bleed, h + 2 * bleed, fill)


def lines_of_words(rng, x, y, width, count, size):
    """Some lines of small print."""
    fit = max(4, int(width / (0.55 * size)))
    items = []
    for line in range(count):
        string = ""
        while len(string) < fit - 8:
            string += rng.choice(WORDS) + " "
        items.append(Text(x, y + line * 1.3 * size, size, string[:fit].strip().capitalize()))
    return items


def reeds(x, y, size, rgb):
    """The ferry's mark: a hull under two crossing poles. It has no symmetry of its own."""
    return [
        Shape([(x - size / 2, y), (x + size / 2, y), (x + size / 3, y + size / 3),
               (x - size / 3, y + size / 3)], rgb),
        Line(x - size / 4, y - size / 2, x + size / 5, y, size / 14, rgb),
        Line(x + size / 3, y - size / 2.6, x - size / 8, y, size / 14, rgb),
        Disc(x - size / 4, y - size / 2, size / 11, rgb),
    ]


def framed(w, h, bleed, rng):
    """A coloured border, a panel, a title bar, a picture window and a box of text."""
    m = 0.06 * w
    items = [ground(w, h, bleed, tint(rng, 0.15, 0.6)),
             Rect(m, m, w - 2 * m, h - 2 * m, tint(rng, 0.85, 0.97), (0.1, 0.1, 0.1), 0.3, 2)]
    items.append(Rect(1.6 * m, 1.6 * m, w - 3.2 * m, 0.09 * h, tint(rng, 0.5, 0.8)))
    items.append(Text(2 * m, 1.6 * m + 0.065 * h, 0.05 * h, rng.choice(NAMES)))
    top, high = 0.18 * h, 0.40 * h
    items.append(Picture(1.6 * m, top, w - 3.2 * m, high, marsh(rng, w - 3.2 * m, high)))
    items.append(Rect(1.6 * m, top, w - 3.2 * m, high, None, BLACK, 0.35))
    box = Rect(1.6 * m, 0.63 * h, w - 3.2 * m, 0.27 * h, WHITE, (0.3, 0.3, 0.3), 0.25)
    items.append(box)
    items += lines_of_words(rng, box.x + 1, box.y + 0.05 * h, box.w - 2, 4, 0.035 * h)
    items.append(Disc(1.8 * m, 1.8 * m, 0.05 * w, tint(rng, 0.6, 0.9), BLACK, 0.3))
    return items


def full(w, h, bleed, rng):
    """A picture to the edge with a ribbon and a pale box."""
    picture = marsh(rng, w + 2 * bleed, h + 2 * bleed)
    items = [Picture(-bleed, -bleed, w + 2 * bleed, h + 2 * bleed, picture)]
    at = rng.uniform(0.08, 0.2) * h
    items.append(Rect(-bleed, at, w + 2 * bleed, 0.1 * h, tint(rng, 0.1, 0.4)))
    items.append(Text(0.1 * w, at + 0.07 * h, 0.055 * h, rng.choice(NAMES), WHITE, True))
    items.append(Rect(0.1 * w, 0.68 * h, 0.8 * w, 0.22 * h, (0.96, 0.94, 0.88)))
    items += lines_of_words(rng, 0.13 * w, 0.74 * h, 0.74 * w, 3, 0.04 * h)
    return items


def bordered(w, h, bleed, rng):
    """A white border around a coloured field."""
    m = rng.uniform(2.5, 5)
    items = [ground(w, h, bleed, WHITE),
             Wash(m, m, w - 2 * m, h - 2 * m, tint(rng, 0.4, 0.9), tint(rng, 0.2, 0.7))]
    items.append(Text(m + 2, m + 0.09 * h, 0.06 * h, rng.choice(NAMES), BLACK, True))
    items += reeds(w / 2, 0.42 * h, 0.5 * w, tint(rng, 0.1, 0.4))
    items.append(Rect(m + 2, 0.65 * h, w - 2 * m - 4, 0.25 * h, tint(rng, 0.9, 1)))
    items += lines_of_words(rng, m + 3, 0.71 * h, w - 2 * m - 6, 3, 0.04 * h)
    return items


def dark(w, h, bleed, rng):
    """Nearly black to the edge with a thin pale frame."""
    deep = tint(rng, 0.02, 0.15)
    items = [ground(w, h, bleed, deep),
             Rect(3, 3, w - 6, h - 6, None, tint(rng, 0.6, 0.9), 0.4, 1.5)]
    items.append(Picture(6, 0.16 * h, w - 12, 0.45 * h, marsh(rng, w - 12, 0.45 * h)))
    items.append(Text(6, 0.12 * h, 0.055 * h, rng.choice(NAMES), tint(rng, 0.7, 0.95), True))
    for line in range(3):
        items.append(Text(6, (0.7 + 0.06 * line) * h, 0.035 * h,
                          " ".join(rng.choice(WORDS) for _ in range(5)), (0.85, 0.85, 0.8)))
    return items


def plain(w, h, bleed, rng):
    """White with a thin line just inside the edge: what word processors make."""
    m = rng.uniform(1.5, 3)
    items = [ground(w, h, bleed, WHITE), Rect(m, m, w - 2 * m, h - 2 * m, None, BLACK, 0.35)]
    items.append(Text(m + 2, 0.14 * h, 0.07 * h, rng.choice(NAMES), BLACK, True))
    items.append(Line(m + 2, 0.18 * h, w - m - 2, 0.18 * h, 0.3))
    items += lines_of_words(rng, m + 2, 0.28 * h, w - 2 * m - 4, 7, 0.045 * h)
    return items


def suits(w, h, bleed, rng):
    """A traditional face: corner figures and marks on white, alike when stood on its head."""
    rank = rng.choice("A23456789JQK")
    rgb = rng.choice([(0.75, 0.1, 0.1), (0.1, 0.15, 0.3)])
    half = [Text(0.06 * w, 0.12 * h, 0.1 * h, rank, rgb, True),
            *reeds(0.12 * w, 0.19 * h, 0.1 * w, rgb)]
    for place in [(0.3, 0.25), (0.7, 0.25), (0.5, 0.38), (0.3, 0.45)][:rng.randint(2, 4)]:
        half += reeds(place[0] * w, place[1] * h, 0.16 * w, rgb)
    return [ground(w, h, bleed, (0.99, 0.99, 0.97)), *half,
            Group(half, tilt(180, (w / 2, h / 2)))]


def boxes(w, h, bleed, rng):
    """Rectangles within rectangles in a pale colour, like a record sheet on a card."""
    items = [ground(w, h, bleed, tint(rng, 0.75, 0.92))]
    for column in range(2):
        for row in range(3):
            items.append(Rect((0.08 + 0.44 * column) * w, (0.2 + 0.25 * row) * h, 0.4 * w, 0.2 * h,
                              WHITE, (0.2, 0.2, 0.4), rng.choice([0.2, 0.4, 0.7])))
            items.append(Text((0.1 + 0.44 * column) * w, (0.26 + 0.25 * row) * h, 0.035 * h,
                              rng.choice(NAMES)))
    items.append(Text(0.08 * w, 0.12 * h, 0.07 * h, rng.choice(NAMES), BLACK, True))
    items.append(Line(0, 0.16 * h, w, 0.16 * h, 0.5))
    return items


def back_dark(w, h, bleed, rng):
    """Dark to the edge with the ferry's mark the right way up."""
    return [ground(w, h, bleed, tint(rng, 0.05, 0.3)),
            *reeds(w / 2, h / 2, 0.5 * w, tint(rng, 0.7, 0.95)),
            Text(0.2 * w, 0.88 * h, 0.06 * h, "SALTMARSH", tint(rng, 0.7, 0.95), True)]


def back_lozenges(w, h, bleed, rng):
    """A traditional lozenge pattern, alike both ways up, to the edge or in a white border."""
    m = rng.choice([-bleed, -bleed, 3.0, 4.5])
    rgb, pale = tint(rng, 0.1, 0.5), tint(rng, 0.8, 0.95)
    inside = [Rect(m, m, w - 2 * m, h - 2 * m, pale)]
    step = max(4.0, w / 9)
    for column in range(-1, int(w / step) + 2):
        for row in range(-1, int(h / step) + 2):
            x, y = w / 2 + (column - int(w / step) // 2) * step, row * step
            inside.append(Shape([(x, y - step / 2.4), (x + step / 2.4, y), (x, y + step / 2.4),
                                 (x - step / 2.4, y)], rgb))
    return [ground(w, h, bleed, WHITE if m > 0 else pale),
            Group(inside, clip=Rect(m, m, w - 2 * m, h - 2 * m))]


def back_picture(w, h, bleed, rng):
    """A picture to the edge."""
    return [Picture(-bleed, -bleed, w + 2 * bleed, h + 2 * bleed,
                    marsh(rng, w + 2 * bleed, h + 2 * bleed)),
            Rect(0.2 * w, 0.4 * h, 0.6 * w, 0.2 * h, None, WHITE, 0.6, 2)]


def back_wash(w, h, bleed, rng):
    """A gradient with a disc."""
    return [Wash(-bleed, -bleed, w + 2 * bleed, h + 2 * bleed, tint(rng, 0.5, 0.85),
                 tint(rng, 0.1, 0.4)), Disc(w / 2, 0.4 * h, 0.25 * w, tint(rng, 0.8, 0.95))]


def back_stripes(w, h, bleed, rng):
    """Slanting stripes to the edge."""
    items, step = [ground(w, h, bleed, tint(rng, 0.75, 0.9))], w / 8
    rgb = tint(rng, 0.2, 0.5)
    for number in range(-14, 24):
        x = number * step
        items.append(Shape([(x, -bleed), (x + step / 2, -bleed), (x + step / 2 + h / 2, h + bleed),
                            (x + h / 2, h + bleed)], rgb))
    return [Group(items, clip=Rect(-bleed, -bleed, w + 2 * bleed, h + 2 * bleed))]


def back_thin(w, h, bleed, rng):
    """White with a thin frame and a mark."""
    m = rng.uniform(2, 4)
    return [ground(w, h, bleed, WHITE), Rect(m, m, w - 2 * m, h - 2 * m, None, (0.2, 0.2, 0.2), 0.3),
            *reeds(w / 2, h / 2, 0.3 * w, (0.3, 0.3, 0.3))]


def back_logo(w, h, bleed, rng):
    """White with nothing but a mark, as good as in the middle."""
    size = rng.uniform(0.3, 0.6) * w
    return [ground(w, h, bleed, WHITE), Disc(w / 2, h / 2, size / 2, None, tint(rng, 0.1, 0.5), 0.8),
            *reeds(w / 2, h / 2, 0.6 * size, tint(rng, 0.1, 0.5))]


def back_white(w, h, bleed, rng):
    """Nothing but white; its place shows by marks or outlines only."""
    return [ground(w, h, bleed, WHITE)]


def face(style, w, h, bleed, seed):
    """The items of a face."""
    return globals()[style](w, h, bleed, random.Random(f"face {seed}"))


def back(style, w, h, bleed, seed):
    """The items of a back."""
    return globals()[f"back_{style}"](w, h, bleed, random.Random(f"back {seed}"))


def turned(items, w, h, quarter):
    """A card's items lying in a cell turned by `quarter` × 90° clockwise about the cell's middle.

    `w` and `h` are the card's own, upright.
    """
    cell = (h, w) if quarter % 2 else (w, h)
    matrix = shift(cell[0] / 2, cell[1] / 2) @ tilt(90 * quarter) @ shift(-w / 2, -h / 2)
    return Group(items, matrix)
