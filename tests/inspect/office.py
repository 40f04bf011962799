"""A file of an office suite: two sheets of cards drawn as shapes, as people lay them out there.

    python3 tests/inspect/office.py

writes `office/cards.fodg` (OpenDocument 1.2, flat XML). `office/cards.pdf` was made of it once with
LibreOffice 7.4.7 from Debian 12 (`soffice --headless --convert-to pdf cards.fodg`), which is too
large to be installed for one file; it is kept as it came.
"""

from pathlib import Path

from deck import File
from sheets import A4, Lattice, Side

FOLDER = Path(__file__).resolve().parent / "office"
NAME = "cards.pdf"
# Off the page's middle, so that only one flip fits.
LATTICE = Lattice(3, 2, (56.0, 88.0), (4.0, 5.0), (12.0, 30.0))
COUNTS = [6, 4]
NAMES = ["Eel Trap", "Samphire", "Low Tide", "Toll House", "Ropewalk", "Heron"]

HEAD = """<?xml version="1.0" encoding="UTF-8"?>
<office:document xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0"
 xmlns:draw="urn:oasis:names:tc:opendocument:xmlns:drawing:1.0"
 xmlns:style="urn:oasis:names:tc:opendocument:xmlns:style:1.0"
 xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0"
 xmlns:fo="urn:oasis:names:tc:opendocument:xmlns:xsl-fo-compatible:1.0"
 xmlns:svg="urn:oasis:names:tc:opendocument:xmlns:svg-compatible:1.0"
 office:version="1.2" office:mimetype="application/vnd.oasis.opendocument.graphics">
<office:automatic-styles>
<style:page-layout style:name="A4"><style:page-layout-properties fo:page-width="210mm"
 fo:page-height="297mm" fo:margin-top="0mm" fo:margin-bottom="0mm" fo:margin-left="0mm"
 fo:margin-right="0mm"/></style:page-layout>
"""


def shown(role, count):
    """Which cells of a side hold cards."""
    filled = [index < count for index, _, _ in LATTICE.cells()]
    if role == "front":
        return filled
    behind = [False] * len(filled)
    for index, column, row in LATTICE.cells():
        c, r = LATTICE.behind("sideways", column, row)
        behind[r * LATTICE.columns + c] = filled[index]
    return behind


def lattice(role):
    """Where the cells of a side lie."""
    return LATTICE if role == "front" else LATTICE.mirrored("sideways", A4)


def source():
    """The drawing, for the office suite."""
    styles, pages, number = [], [], 0
    for count in COUNTS:
        for role in ("front", "back"):
            shapes = []
            for index, column, row in LATTICE.cells():
                if not shown(role, count)[index]:
                    continue
                number += 1
                colour = "#2f4a63" if role == "back" else f"#{0x7a + 9 * number:02x}b0{160 - 8 * number:02x}"
                styles.append(
                    f'<style:style style:name="s{number}" style:family="graphic">'
                    f'<style:graphic-properties draw:stroke="none" draw:fill="solid"'
                    f' draw:fill-color="{colour}"/></style:style>')
                x, y = lattice(role).corner(column, row)
                word = "SALTMARSH" if role == "back" else NAMES[number % len(NAMES)]
                shapes.append(
                    f'<draw:rect draw:style-name="s{number}" svg:x="{x}mm" svg:y="{y}mm"'
                    f' svg:width="56mm" svg:height="88mm"><text:p>{word}</text:p></draw:rect>')
            pages.append(f'<draw:page draw:name="p{len(pages)}" draw:master-page-name="M">'
                         + "".join(shapes) + "</draw:page>")
    return (HEAD + "\n".join(styles) + '</office:automatic-styles><office:master-styles>'
            '<style:master-page style:name="M" style:page-layout-name="A4"/>'
            "</office:master-styles>\n<office:body><office:drawing>" + "\n".join(pages)
            + "</office:drawing></office:body></office:document>\n")


def truth():
    """What is true of the file."""
    file = File("office", 0, "LibreOffice", way="alternating", flip="sideways")
    for count in COUNTS:
        for role in ("front", "back"):
            file.sides.append(
                Side(role, A4, [], [(lattice(role), shown(role, count), True, 0.0, None)]))
        file.pairs.append((len(file.sides) - 1, len(file.sides)))
    return {**file.truth(), "file": NAME}


if __name__ == "__main__":
    (FOLDER / "cards.fodg").write_text(source())
