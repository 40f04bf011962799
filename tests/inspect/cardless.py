"""Pages that hold no cards, though some of them hold frames, tables and repeats."""

import art
import deck
import sheets
from scene import BLACK, Disc, Line, Picture, Rect, Shape, Text, Wash
from sheets import A4, LETTER, Side


def text(size, rng):
    """A page of text."""
    return deck.rules_page(size, rng.random()).items


def columns(size, rng):
    """Text in two columns with headings."""
    items, width = [], (size[0] - 50) / 2
    for column in range(2):
        y = 25.0
        while y < size[1] - 40:
            x = 20 + column * (width + 10)
            items.append(Text(x, y, 5, rng.choice(art.NAMES), bold=True))
            count = rng.randint(4, 9)
            items += art.lines_of_words(rng, x, y + 6, width, count, 3.2)
            y += 12 + count * 4.2
    return items


def photograph(size, rng):
    """A picture over the whole page."""
    return [Picture(0, 0, *size, art.marsh(rng, *size, dpi=100))]


def framed_photograph(size, rng):
    """A picture with margins and words below."""
    w, h = size[0] - 50, (size[0] - 50) * 0.7
    return [Picture(25, 30, w, h, art.marsh(rng, w, h)), Rect(25, 30, w, h, None, BLACK, 0.3),
            *art.lines_of_words(rng, 25, 40 + h, w, 6, 4)]


def map_sheet(size, rng):
    """A map with a graticule, a shore and places."""
    items = [Rect(15, 15, size[0] - 30, size[1] - 30, (0.93, 0.95, 0.97), BLACK, 0.5)]
    shore = [(15, size[1] * 0.4)]
    for step in range(1, 30):
        shore.append((15 + step * (size[0] - 30) / 29, size[1] * (0.4 + rng.uniform(-0.05, 0.12))))
    items.append(Shape([*shore, (size[0] - 15, size[1] - 15), (15, size[1] - 15)],
                       (0.85, 0.88, 0.75), (0.4, 0.4, 0.3), 0.4))
    step = rng.choice([30, 40, 50])
    for n in range(1, 12):
        if 15 + n * step < size[0] - 15:
            items.append(Line(15 + n * step, 15, 15 + n * step, size[1] - 15, 0.1, (0.6, 0.7, 0.8)))
        if 15 + n * step < size[1] - 15:
            items.append(Line(15, 15 + n * step, size[0] - 15, 15 + n * step, 0.1, (0.6, 0.7, 0.8)))
    for _ in range(14):
        x, y = rng.uniform(25, size[0] - 50), rng.uniform(25, size[1] - 25)
        items += [Disc(x, y, 1.2, (0.6, 0.1, 0.1)), Text(x + 2, y + 1, 3, rng.choice(art.NAMES))]
    return items


def table(size, rng):
    """A ruled table: prices, or scores."""
    wide, high = rng.choice([3, 4, 6]), rng.uniform(7, 11)
    rows = int((size[1] - 70) // high)
    step = (size[0] - 40) / wide
    items = [Text(20, 25, 7, "Fares and tolls", bold=True),
             Rect(20, 40, size[0] - 40, high, (0.85, 0.85, 0.85))]
    for row in range(rows + 1):
        items.append(Line(20, 40 + row * high, size[0] - 20, 40 + row * high, 0.25))
    for column in range(wide + 1):
        items.append(Line(20 + column * step, 40, 20 + column * step, 40 + rows * high, 0.25))
    for row in range(rows):
        for column in range(wide):
            items.append(Text(22 + column * step, 40 + (row + 0.7) * high, 3.2,
                              rng.choice(art.NAMES) if column == 0 else str(rng.randint(1, 99))))
    return items


def form(size, rng):
    """A form with boxes to fill in."""
    items, y = [Text(20, 25, 7, "Ferry log", bold=True)], 38.0
    while y < size[1] - 40:
        high = rng.choice([8, 8, 12, 30])
        items.append(Text(20, y - 1.5, 3, rng.choice(art.NAMES)))
        x = 20.0
        for width in rng.choice([(1.0,), (0.5, 0.5), (0.3, 0.7), (0.25, 0.25, 0.5)]):
            full = width * (size[0] - 40)
            items.append(Rect(x, y, full - 3, high, None, (0.3, 0.3, 0.3), 0.3))
            x += full
        y += high + 8
    return items


def chart(size, rng):
    """Bars over an axis with lines behind."""
    items = [Text(20, 25, 7, "Tides of the month", bold=True)]
    for n in range(9):
        items.append(Line(25, 60 + 15 * n, size[0] - 20, 60 + 15 * n, 0.15, (0.7, 0.7, 0.7)))
    for n in range(14):
        high = rng.uniform(10, 115)
        items.append(Rect(28 + n * (size[0] - 55) / 14, 180 - high, 7, high, art.tint(rng, 0.3, 0.8)))
    return [*items, *art.lines_of_words(rng, 20, 200, size[0] - 40, 5, 4)]


def board(size, rng):
    """A board that fills the page, with a winding track."""
    items = [Wash(8, 8, size[0] - 16, size[1] - 16, art.tint(rng, 0.6, 0.9), art.tint(rng, 0.4, 0.7)),
             Picture(40, 60, 80, 70, art.marsh(rng, 80, 70))]
    x, y = 30.0, 30.0
    for _ in range(30):
        items.append(Disc(x, y, 7, art.tint(rng, 0.7, 1), BLACK, 0.4))
        x, y = x + rng.uniform(-16, 24), y + rng.uniform(0, 16)
        x, y = min(max(x, 20), size[0] - 20), min(y, size[1] - 20)
    return items


def blank(size, rng):
    """Nothing."""
    return []


def cover(size, rng):
    """A cover: a title over a picture."""
    return [Picture(0, size[1] * 0.35, size[0], size[1] * 0.4, art.marsh(rng, size[0], size[1] * 0.4)),
            Text(30, 60, 16, "Saltmarsh", bold=True), Text(30, 80, 16, "Ferry", bold=True)]


def track(size, rng):
    """A score track around the edge, 50 small squares."""
    items, step = [], 12.0
    across, down = int((size[0] - 30) // step), int((size[1] - 30) // step)
    around = [(c, r) for c in range(across) for r in range(down)
              if c in (0, across - 1) or r in (0, down - 1)]
    for number, (c, r) in enumerate(around):
        x, y = 15 + c * step, 15 + r * step
        items += [Rect(x, y, step, step, art.tint(rng, 0.8, 1), BLACK, 0.25),
                  Text(x + 2, y + 8, 4, str(number))]
    return [*items, *art.lines_of_words(rng, 45, 80, size[0] - 90, 8, 5)]


RECIPES = [text, columns, photograph, framed_photograph, map_sheet, table, form, chart, board, blank,
           cover, track]


def make(seed):
    """A file of one to three pages without cards."""
    rng = sheets.rng_of("cardless", seed)
    size = rng.choice([A4, LETTER, A4[::-1]]) if seed >= len(RECIPES) else rng.choice([A4, LETTER])
    first = seed % len(RECIPES)
    chosen = [RECIPES[first]] + [rng.choice(RECIPES) for _ in range(rng.randint(0, 2))]
    flat = 150 if seed % 7 == 6 else None
    file = deck.File("cardless", seed, "flat" if flat else rng.choice(deck.PRODUCERS))
    file.flattened = flat
    file.sides = [Side("other", size, recipe(size, rng)) for recipe in chosen]
    file.way, file.notes = "no_cards", {"pages": [recipe.__name__ for recipe in chosen]}
    return file
