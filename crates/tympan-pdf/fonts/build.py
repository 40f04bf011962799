#!/usr/bin/env python3
"""Makes the embedded faces from the fontsource packages of npm.

    npm pack @fontsource/atkinson-hyperlegible-next @fontsource/bitter   (unpack both)
    pip install fonttools brotli
    python build.py FOLDER        where FOLDER holds <face>/package/files/*.woff2

Keeps Latin letters, figures, punctuation and kerning; drops hinting and other scripts; adds what
the faces lack and this program says: µ (Atkinson Hyperlegible Next) and arrows (both).
"""
import os
import sys
import tempfile

from fontTools import subset
from fontTools.merge import Merger
from fontTools.pens.boundsPen import BoundsPen
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.ttLib import TTFont

FACES = [
    ("atkinson-hyperlegible-next", 400, "Atkinson Hyperlegible Next", "Regular"),
    ("atkinson-hyperlegible-next", 700, "Atkinson Hyperlegible Next", "Bold"),
    ("bitter", 700, "Bitter", "Bold"),
]


def latin(path, out):
    font = TTFont(path, recalcTimestamp=False)
    font.flavor = None
    options = subset.Options(
        layout_features=["kern"], hinting=False, notdef_outline=True, name_IDs=["*"]
    )
    options.drop_tables += ["STAT", "GSUB", "gasp"]
    keep = {
        c
        for c in font.getBestCmap()
        if 0x20 <= c < 0x250 or 0x2000 <= c < 0x2200 or c == 0x2212
    }
    worker = subset.Subsetter(options)
    worker.populate(unicodes=keep)
    worker.subset(font)
    font.save(out)


def add(font, char, name, pen, advance):
    order = font.getGlyphOrder() + [name]
    font["glyf"][name] = pen.glyph()
    font.setGlyphOrder(order)
    bounds = BoundsPen(font.getGlyphSet())
    font["hmtx"][name] = (advance, 0)
    font.getGlyphSet()[name].draw(bounds)
    font["hmtx"][name] = (advance, round(bounds.bounds[0]))
    for table in font["cmap"].tables:
        if table.isUnicode():
            table.cmap[ord(char)] = name


def polygon(pen, points):
    pen.moveTo(points[0])
    for point in points[1:]:
        pen.lineTo(point)
    pen.closePath()


def add_mu(font):
    glyphs, name = font.getGlyphSet(), font.getBestCmap()[ord("u")]
    bounds = BoundsPen(glyphs)
    glyphs[name].draw(bounds)
    left, stem = round(bounds.bounds[0]), {400: 84, 700: 139}[font["OS/2"].usWeightClass]
    pen = TTGlyphPen(None)
    glyphs[name].draw(pen)
    polygon(pen, [(left, -190), (left, 250), (left + stem, 250), (left + stem, -190)])
    add(font, "\u00b5", "mu", pen, font["hmtx"][name][0])


def add_arrows(font, half):
    """Plain arrows on a 720 unit square about the height of the minus sign."""
    reach, head, middle, advance = 300, 210, 330, 720
    shaft = [(-reach, -half), (-reach, half), (reach - head, half)]
    point = [(reach - head, head), (reach, 0), (reach - head, -head)]
    arrow = shaft + point + [(reach - head, -half)]
    turns = {"\u2190": (-1, 0), "\u2191": (0, 1), "\u2192": (1, 0), "\u2193": (0, -1)}
    for char, (c, s) in turns.items():
        pen = TTGlyphPen(None)
        turned = [(advance // 2 + c * x - s * y, middle + s * x + c * y) for x, y in arrow]
        polygon(pen, turned)
        add(font, char, f"tympan.arrow{ord(char):04X}", pen, advance)


def main(folder):
    here = os.path.dirname(os.path.abspath(__file__))
    for package, weight, family, style in FACES:
        with tempfile.TemporaryDirectory() as scratch:
            parts = []
            for script in ("latin", "latin-ext"):
                parts.append(f"{scratch}/{script}.ttf")
                file = f"{package}-{script}-{weight}-normal.woff2"
                latin(f"{folder}/{package}/package/files/{file}", parts[-1])
            font = Merger().merge(parts)
        font["OS/2"].usWeightClass = weight
        if ord("\u00b5") not in font.getBestCmap():
            add_mu(font)
        add_arrows(font, 36 if weight == 400 else 60)
        postscript = f"{family.replace(' ', '')}-{style}"
        names = {1: family, 2: style, 4: f"{family} {style}", 6: postscript}
        for record in font["name"].names:
            if record.nameID in names:
                record.string = names[record.nameID]
        font.recalcTimestamp = False
        font["head"].modified = font["head"].created
        font.save(f"{here}/{postscript}.ttf")
        print(postscript, len(font.getBestCmap()), "characters")


if __name__ == "__main__":
    main(sys.argv[1])
