"""Sheets of cards as somebody writes them in HTML and CSS, printed to PDF by Chromium.

Chromium puts boxes on whole CSS pixels (1/96 inch), so everything here is measured in them; a
poker card is 240 × 336."""

import base64

import art
import paint
import sheets
from deck import File
from scene import Picture
from sheets import LETTER, Lattice, Side

PX = 25.4 / 96
CARD = (240, 336)
STYLE = """
@page{size:215.9mm 279.4mm;margin:0}
body{margin:0;font-family:'DejaVu Sans';font-size:10px}
section{position:relative;width:816px;height:1056px;overflow:hidden;break-after:page}
.sheet{display:grid;position:absolute;grid-template-columns:repeat(3,240px)}
.card{width:240px;height:336px;box-sizing:border-box;padding:10px;overflow:hidden}
.card img{width:100%;height:130px;display:block;object-fit:cover}
h2{font-size:15px;margin:0 0 6px}
"""


def made(seed):
    """Two sheets of nine poker cards on Letter, backs after each."""
    rng = sheets.rng_of("webpage", seed)
    gutter = (0, 8)[seed % 2]
    outline = seed % 3 == 1
    left, top = (816 - 3 * 240 - 2 * gutter) // 2, (1056 - 3 * 336 - 2 * gutter) // 2
    lattice = Lattice(3, 3, tuple(n * PX for n in CARD), (gutter * PX,) * 2, (left * PX, top * PX))
    file = File("webpage", seed, "webpage", way="alternating", flip="sideways")
    # An outline may be cut along its middle or outside, half a pixel away: no trim is right alone.
    error = rng.choice([0, 4, 8])
    shade = rng.choice(["#234", "#523", "repeating-linear-gradient(45deg,#357 0 12px,#ace 12px 24px)"])
    edge = "border:1px solid #000" if outline else "border:9px solid {}"
    for sheet in range(2):
        for role in ("front", "back"):
            cards = []
            for number in range(9):
                colour = "#%02x%02x%02x" % tuple(rng.randrange(30, 170) for _ in range(3))
                frame = edge.format(colour)
                if role == "back":
                    cards.append(f'<div class=card style="background:{shade};color:#fff;'
                                 f'{"border:1px solid #000" if outline else ""}">'
                                 '<h2>Saltmarsh Ferry</h2></div>')
                    continue
                data = base64.b64encode(paint.jpeg(Picture(0, 0, 55, 34, art.marsh(rng, 55, 34))))
                words = " ".join(rng.choice(art.WORDS) for _ in range(24)).capitalize()
                cards.append(f'<div class=card style="{frame}"><h2>{rng.choice(art.NAMES)}</h2>'
                             f'<img src="data:image/jpeg;base64,{data.decode()}"><p>{words}.</p></div>')
            over = error if role == "back" else 0
            side = Side(role, LETTER, [], [(lattice, [True] * 9, not outline, 0, None)])
            side.moved = sheets.shift(over * PX, 0) if over else None
            side.html = (f'<section><div class=sheet style="left:{left + over}px;top:{top}px;'
                         f'gap:{gutter}px">{"".join(cards)}</div></section>')
            file.sides.append(side)
        file.pairs.append((2 * sheet + 1, 2 * sheet + 2))
    file.notes = {"gutter_px": gutter, "outline": outline, "error_px": error}
    return file
