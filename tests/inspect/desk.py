"""Pages of the desk that have rows and columns of boxes or pictures, but no cards."""

import art
import deck
import sheets
from scene import BLACK, WHITE, Disc, Line, Picture, Rect, Text
from sheets import A4, LETTER, Side

GREY = (0.3, 0.3, 0.3)


def title(string):
    """A heading."""
    return Text(20, 25, 7, string, bold=True)


def words(rng, few=1, many=3):
    """A few words."""
    return " ".join(rng.choice(art.WORDS) for _ in range(rng.randint(few, many)))


def order_form(size, rng):
    """Two boxes for addresses, a table of cells that are boxes of their own, a box for the sum."""
    items, half = [title("Order of provisions")], (size[0] - 46) / 2
    for column, name in enumerate(("From", "To")):
        x = 20 + column * (half + 6)
        items += [Text(x, 34, 3, name), Rect(x, 36, half, 34, None, GREY, 0.3)]
    high, y = rng.uniform(8, 11), 82.0
    widths = [n * (size[0] - 40) for n in (0.15, 0.45, 0.2, 0.2)]
    while y < size[1] - 60:
        x = 20.0
        for width in widths:
            items.append(Rect(x, y, width, high, None, GREY, 0.25))
            if y < 150:
                items.append(Text(x + 2, y + 6, 3.4, rng.choice(art.NAMES)[:10]))
            x += width
        y += high
    return [*items, Rect(size[0] - 20 - widths[3], y + 6, widths[3], 20, None, BLACK, 0.5)]


def filled_form(size, rng):
    """A form whose boxes, named above, have been filled in."""
    items, half, high = [title("Ferry log")], (size[0] - 40) / 2, rng.choice([22, 28, 34])
    y = 40.0
    while y + high < size[1] - 25:
        for column in range(2):
            x = 20 + column * half
            items += [Text(x, y - 1.5, 3, rng.choice(art.NAMES)),
                      Rect(x, y, half - 4, high, rng.choice([None, WHITE]), GREY, 0.3)]
            items += art.lines_of_words(rng, x + 3, y + 7, half - 12, rng.randint(1, 2), 3.6)
        y += high + 9
    return items


def blank_form(size, rng):
    """Boxes of one size, side by side and below each other, painted white, with nothing in them."""
    items, (columns, rows) = [title("Tally of the tides")], rng.choice([(2, 3), (2, 4), (3, 3)])
    w, h = (size[0] - 40) / columns, (size[1] - 80) / rows
    for row in range(rows):
        for column in range(columns):
            items.append(Rect(20 + column * w, 45 + row * h, w - 5, h - 6, WHITE, GREY, 0.35))
    return items


def calendar(size, rng):
    """A month: the weekend tinted, a number in each box, a few notes."""
    items, weekend = [title("Month of the spring tides")], rng.random() < 0.5
    w, h = (size[0] - 30) / 7, (size[1] - 70) / 5
    for day in range(35):
        x, y = 15 + day % 7 * w, 50 + day // 7 * h
        tinted = weekend and day % 7 > 4
        items += [Rect(x, y, w, h, (0.9, 0.92, 0.96) if tinted else None, GREY, 0.25),
                  Text(x + 2, y + 6, 4, str(day + 1))]
        if rng.random() < 0.25:
            items.append(Text(x + 2, y + 14, 2.6, rng.choice(art.NAMES)[:12]))
    return items + [Text(17 + n * w, 47, 3.5, f"Day {n + 1}") for n in range(7)]


def score_sheet(size, rng):
    """A large box for each player, with no more in it than a name."""
    items, rows = [title("Scores")], rng.choice([2, 3, 4])
    w, h = (size[0] - 44) / 2, (size[1] - 60) / rows
    for player in range(2 * rows):
        x, y = 20 + player % 2 * (w + 4), 40 + player // 2 * h
        items += [Rect(x, y, w, h - 4, None, BLACK, 0.35),
                  Text(x + 3, y + 7, 4, f"Ferryman {player + 1}")]
    return items


def crossword(size, rng):
    """Small squares, some of them black, and clues in two columns below."""
    items, step, count = [title("Words of the marsh")], rng.choice([8.0, 9.5, 11.0]), 13
    for number in range(count * count):
        x, y = 25 + number % count * step, 38 + number // count * step
        dark = rng.random() < 0.2
        items.append(Rect(x, y, step, step, BLACK if dark else None, BLACK, 0.25))
        if not dark and rng.random() < 0.25:
            items.append(Text(x + 0.6, y + 2.6, 2, str(number)))
    for column in range(2):
        items += art.lines_of_words(rng, 25 + column * 85, 48 + count * step, 75, 9, 3.2)
    return items


def table_of_one(size, rng):
    """A ruled table of large fields; one field is tinted, some have a word."""
    items, (columns, rows) = [title("Watches")], rng.choice([(3, 5), (2, 5), (4, 4)])
    w, h = (size[0] - 40) / columns, (size[1] - 80) / rows
    one = rng.randrange(columns * rows)
    items.append(Rect(20 + one % columns * w, 40 + one // columns * h, w, h, (0.85, 0.9, 0.8)))
    for n in range(rows + 1):
        items.append(Line(20, 40 + n * h, 20 + columns * w, 40 + n * h, 0.3))
    for n in range(columns + 1):
        items.append(Line(20 + n * w, 40, 20 + n * w, 40 + rows * h, 0.3))
    for n in range(columns * rows):
        if rng.random() < 0.4:
            items.append(Text(23 + n % columns * w, 48 + n // columns * h, 4, words(rng)))
    return items


def comic(size, rng):
    """Panels of unlike widths with pictures."""
    items, y = [], 20.0
    while y < size[1] - 60:
        high, x = rng.uniform(45, 75), 18.0
        cuts = sorted(rng.sample([0.28, 0.37, 0.45, 0.58, 0.66, 0.74], rng.randint(1, 2)))
        for left, right in zip([0, *cuts], [*cuts, 1]):
            w = (right - left) * (size[0] - 36) - 3
            x = 18 + left * (size[0] - 36)
            items += [Picture(x, y, w, high, art.marsh(rng, w, high, dpi=70)),
                      Rect(x, y, w, high, None, BLACK, 0.6)]
        y += high + 4
    return items


def contact_sheet(size, rng):
    """Pictures of one size with a name below each."""
    items, columns = [title("Plates")], rng.choice([3, 4])
    w = (size[0] - 40) / columns - 6
    h, y = w * 0.68, 38.0
    while y + h < size[1] - 30:
        for column in range(columns):
            x = 20 + column * (w + 6)
            items += [Picture(x, y, w, h, art.marsh(rng, w, h, dpi=70)),
                      Text(x, y + h + 5, 3, rng.choice(art.NAMES))]
        y += h + 12
    return items


def storyboard(size, rng):
    """Empty panels with ruled lines below each for what is said."""
    items, (columns, rows) = [title("The crossing, scene by scene")], rng.choice([(2, 3), (3, 4)])
    w, step = (size[0] - 40) / columns - 6, (size[1] - 60) / rows
    for n in range(columns * rows):
        x, y = 20 + n % columns * (w + 6), 38 + n // columns * step
        high = step - 22
        items += [Rect(x, y, w, high, None, BLACK, 0.4), Text(x, y + high + 4.5, 3, words(rng, 2, 4))]
        items += [Line(x, y + high + line, x + w, y + high + line, 0.15) for line in (9, 14)]
    return items


def timetable(size, rng):
    """Hours and days: boxes with a word in about half of them."""
    items, (columns, rows) = [title("Crossings")], rng.choice([(5, 6), (6, 8)])
    w, h = (size[0] - 50) / columns, (size[1] - 70) / rows
    items += [Text(32 + n * w, 43, 3.5, f"Pier {n + 1}") for n in range(columns)]
    for row in range(rows):
        items.append(Text(15, 52 + row * h, 3.5, f"{6 + row} h"))
        for column in range(columns):
            x, y = 30 + column * w, 46 + row * h
            items.append(Rect(x, y, w, h, None, GREY, 0.25))
            if rng.random() < 0.5:
                items.append(Text(x + 2, y + 7, 3, rng.choice(art.NAMES)[:11]))
    return items


def key(size, rng):
    """Swatches in a column with what they mean beside them."""
    items = [title("Key to the map")]
    for row in range(rng.randint(5, 7)):
        y = 40 + row * 30
        items += [Rect(25, y, 28, 22, art.tint(rng, 0.4, 0.8), GREY, 0.2),
                  *art.lines_of_words(rng, 62, y + 8, size[0] - 90, 2, 4)]
    return items


def ruled(size, rng):
    """Paper to write on: lines, or dots."""
    if rng.random() < 0.5:
        return [Line(15, y, size[0] - 15, y, 0.15, (0.5, 0.6, 0.8))
                for y in range(30, int(size[1]) - 15, 8)]
    return [Disc(x, y, 0.35, (0.5, 0.5, 0.5)) for x in range(20, int(size[0]) - 15, 10)
            for y in range(20, int(size[1]) - 15, 10)]


RECIPES = [order_form, filled_form, blank_form, calendar, score_sheet, crossword, table_of_one, comic,
           contact_sheet, storyboard, timetable, key, ruled]


def make(seed):
    """A file of one page, or of two of a kind; every third one is a picture."""
    rng = sheets.rng_of("desk", seed)
    recipe, size = RECIPES[seed % len(RECIPES)], rng.choice([A4, LETTER])
    flat = 150 if seed % 3 == 2 else None
    file = deck.File("desk", seed, "flat" if flat else rng.choice(deck.PRODUCERS))
    file.flattened = flat
    file.sides = [Side("other", size, recipe(size, rng)) for _ in range(rng.randint(1, 2))]
    file.way, file.notes = "no_cards", {"pages": [recipe.__name__] * len(file.sides)}
    return file
