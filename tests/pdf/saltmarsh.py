"""What the corpus pages show: sheets of cards from the invented game Saltmarsh Ferry.

A page is a list of primitives in millimetres, seen upright, x right and y down from the top left
corner of the visible page. Every producer draws the same primitives its own way. Each page carries
fiducials, 4 mm black squares with white around them, which the referee finds and measures.
"""

import io
import random
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw

PT = 72 / 25.4
FIDUCIAL = 4.0
A4 = (210.0, 297.0)
LETTER = (215.9, 279.4)
A5 = (148.0, 210.0)
A3 = (297.0, 420.0)

CARDS = [
    "The Ferryman", "Low Tide", "Eel Trap", "Lantern Buoy", "Reed Cutter", "Marsh Lights",
    "Toll House", "Samphire", "Mud Sledge", "Heron", "Broken Sluice", "Salt Pan",
]


@dataclass
class Rect:
    """A filled rectangle; `rgb` in 0..1."""

    x: float
    y: float
    w: float
    h: float
    rgb: tuple


@dataclass
class Line:
    """A stroked line of `width` mm."""

    x0: float
    y0: float
    x1: float
    y1: float
    width: float
    rgb: tuple


@dataclass
class Text:
    """Text with its baseline at `y`, `size` mm high."""

    x: float
    y: float
    size: float
    string: str


@dataclass
class Picture:
    """A picture laid over the rectangle; `jpeg` holds its bytes."""

    x: float
    y: float
    w: float
    h: float
    jpeg: bytes


def fiducial(cx, cy, rgb=(0, 0, 0)):
    """A fiducial centred at (cx, cy) with its white surround."""
    surround, side = FIDUCIAL + 4, FIDUCIAL
    return [
        Rect(cx - surround / 2, cy - surround / 2, surround, surround, (1, 1, 1)),
        Rect(cx - side / 2, cy - side / 2, side, side, rgb),
    ]


def fiducial_centres(width, height):
    """Six places near the edges that no turn or mirror of the page maps onto themselves."""
    return [
        (9, 9), (width - 9, 9), (9, height - 9), (width - 9, height - 9),
        (9, height * 0.42), (width - 9, height * 0.63),
    ]


def marsh_image(width, height, seed):
    """A picture of sky, mud and reeds in `width` × `height` pixels, the same for the same seed."""
    rng = np.random.default_rng(seed)
    y = np.linspace(0, 1, height)[:, None]
    x = np.linspace(0, 1, width)[None, :]
    tide = np.sin(9 * x + 4 * y + seed) * np.cos(7 * y * (1 + x))
    pixels = np.stack([120 + 90 * y + 30 * tide, 150 + 40 * tide, 190 - 90 * y + 20 * tide], axis=2)
    pixels += rng.normal(0, 6, pixels.shape)
    image = Image.fromarray(np.clip(pixels, 0, 255).astype(np.uint8))
    draw = ImageDraw.Draw(image)
    strokes = random.Random(seed)
    for _ in range(40):
        foot = strokes.uniform(0, width)
        top = strokes.uniform(0.3, 0.8) * height
        lean = strokes.uniform(-0.08, 0.08) * width
        thickness = max(1, width // 120)
        draw.line([(foot, height), (foot + lean, top)], fill=(60, 70, 30), width=thickness)
    return image


def marked_image(width, height, seed):
    """A marsh picture with one fiducial in its middle, to be laid over 32 mm × 24 mm."""
    image = marsh_image(width, height, seed)
    draw = ImageDraw.Draw(image)
    for rect in fiducial(16, 12):
        box = [rect.x / 32 * width, rect.y / 24 * height,
               (rect.x + rect.w) / 32 * width - 1, (rect.y + rect.h) / 24 * height - 1]
        draw.rectangle(box, fill=tuple(int(255 * c) for c in rect.rgb))
    return image


def jpeg(image, quality=88, **options):
    """The image as JPEG bytes."""
    out = io.BytesIO()
    image.save(out, "JPEG", quality=quality, **options)
    return out.getvalue()


def card_page(size, number, pictures=True):
    """One page of cards: what the ordinary producers draw."""
    width, height = size
    items = []
    columns, rows = int((width - 36) // 60), int((height - 36) // 84)
    left = (width - columns * 60) / 2
    top = (height - rows * 84) / 2
    shades = random.Random(number)
    for row in range(rows):
        for column in range(columns):
            x, y = left + column * 60, top + row * 84
            tint = tuple(shades.uniform(0.75, 0.95) for _ in range(3))
            items.append(Rect(x, y, 58, 82, tint))
            items.append(Line(x + 4, y + 12, x + 54, y + 12, 0.4, (0.1, 0.2, 0.3)))
            name = CARDS[(number * 5 + row * columns + column) % len(CARDS)]
            items.append(Text(x + 5, y + 10, 5, name))
            items.append(Text(x + 5, y + 78, 3, f"Page {number}, fare {row + column + 1}"))
            if pictures and (row + column) % 3 == 0:
                image = jpeg(marked_image(640, 480, number * 10 + row * columns + column))
                items.append(Picture(x + 13, y + 30, 32, 24, image))
    for cx, cy in fiducial_centres(width, height):
        items.extend(fiducial(cx, cy))
    return items
