"""Card files with exactly one fault each, and clean ones. All are A4, two sheets of four poker
cards with 3 mm of bleed, outer trim marks, and 10 mm of margin to spare."""

import random

import pikepdf
from pikepdf import Dictionary, Name

import art
import produce
import scene
import sheets
from scene import BLACK, PT, WHITE, Group, Picture, Rect, Text, shift
from sheets import A4, CARDS, Lattice, Side

POKER = CARDS["poker"]
BLEED = 3.0


def face(seed, bleed, edge=None, ppi=320):
    """A card that nothing is wrong with: colour to the edge, a picture at 320 ppi, 8 pt text."""
    rng = random.Random(f"seeded {seed}")
    w, h = POKER
    picture = Picture(9, 20, w - 18, 34, art.marsh(rng, w - 18, 34, dpi=ppi), 90)
    paper = Rect(7, 62, w - 14, 18, (0.97, 0.96, 0.92))
    items = [art.ground(w, h, bleed, art.tint(rng, 0.45, 0.75)), picture, paper,
             Text(9, 16, 5, rng.choice(art.NAMES), BLACK, True)]
    items += [Text(9, 68 + 4 * line, 2.9, " ".join(rng.choice(art.WORDS) for _ in range(5)))
              for line in range(3)]
    return items + (edge or [])


def back(bleed, edge=None):
    """The common back of these decks."""
    w, h = POKER
    return [art.ground(w, h, bleed, (0.35, 0.5, 0.6)),
            *art.reeds(w / 2, h / 2, 28, (0.9, 0.88, 0.75)), *(edge or [])]


def pages(bleed=BLEED, size=A4, origin=None, held=(4, 4), mirrored=True, edge=None, scale=1.0,
          ppi=320, error=None, marked=True):
    """Front, back, front, back; `held` says how many cards each sheet has."""
    gutter, made = (2 * BLEED, 2 * BLEED), []
    lattice = sheets.centred(size, 2, 2, POKER, gutter)
    if origin:
        lattice = Lattice(2, 2, POKER, gutter, origin)
    for sheet, count in enumerate(held):
        behind = [lattice.behind("sideways", c, r) if mirrored else (c, r)
                  for index, c, r in lattice.cells() if index < count]
        for role, at in (("front", [(c, r) for index, c, r in lattice.cells() if index < count]),
                         ("back", behind)):
            one = lattice if role == "front" else lattice.mirrored("sideways", size)
            items = []
            for number, (c, r) in enumerate(at):
                card = face(f"{sheet}-{number}", bleed, edge, ppi) if role == "front" \
                    else back(bleed, edge)
                clip = Rect(-bleed, -bleed, POKER[0] + 2 * bleed, POKER[1] + 2 * bleed)
                items.append(Group(card, shift(*one.corner(c, r)), clip))
            below = sheets.marks("outer", one, BLEED, 0)[0] if marked else []
            side = Side(role, size, below + items)
            if scale != 1:
                side.moved = scene.scale(scale, scale, (size[0] / 2, size[1] / 2))
            if error and role == "back":
                side.moved = shift(*error)
            made.append(side)
    return made


def write(path, producer="reportlab", **changes):
    """A file of such pages."""
    produce.write(pages(**changes), path, producer)


def resources_of(page, kind):
    """A dictionary of the page's resources, made where there is none."""
    if "/" + kind not in page.obj.Resources:
        page.obj.Resources["/" + kind] = Dictionary()
    return page.obj.Resources["/" + kind]


def add(path, number, content, **resources):
    """Adds content, in points with y up, to a page of a file."""
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        page = pdf.pages[number - 1]
        for kind, entries in resources.items():
            folder = resources_of(page, kind)
            for name, entry in entries.items():
                folder["/" + name] = pdf.make_indirect(entry)
        page.contents_add(b"q", prepend=True)
        page.contents_add(b"Q\nq\n" + content + b"\nQ")
        pdf.save(path)


def inside(x, y):
    """A place in points, y up, from mm in the first card of the first sheet."""
    lattice = sheets.centred(A4, 2, 2, POKER, (6, 6))
    return (lattice.origin[0] + x) * PT, (A4[1] - lattice.origin[1] - y) * PT


def font():
    """A font that every reader has."""
    return Dictionary(Type=Name.Font, Subtype=Name.Type1, BaseFont=Name.Helvetica)


def no_bleed(path):
    write(path, bleed=0)


def little_bleed(path):
    write(path, bleed=0.8)


def outside_printable(path):
    write(path)
    add(path, 3, f"0.2 0.3 0.4 rg {1.5 * PT} {100 * PT} {3 * PT} {40 * PT} re f".encode())


def thin_border(path):
    w, h = POKER
    frame = [Rect(-BLEED, -BLEED, w + 2 * BLEED, h + 2 * BLEED, None, WHITE, 2 * (BLEED + 0.9))]
    write(path, edge=frame)


def coarse_picture(path):
    write(path, ppi=110)


def tiny_text(path):
    write(path)
    x, y = inside(9, 60)
    add(path, 1, f"BT /Small 3.6 Tf 0 g {x} {y} Td (Printed by the ferry of the marsh) Tj ET"
        .encode(), Font={"Small": font()})


def hairline(path):
    write(path)
    (x, y), (end, _) = inside(9, 58), inside(50, 58)
    add(path, 3, f"0 G 0.05 w {x} {y} m {end} {y} l S".encode())


def heavy_ink(path):
    write(path)
    x, y = inside(6, 82)
    add(path, 2, f"0.9 0.85 0.8 0.95 k {x} {y} {50 * PT} {76 * PT} re f".encode())


def light_text_on_dark(path):
    write(path)
    x, y = inside(9, 80)
    add(path, 1, f"0.05 0.05 0.1 rg {x - 4} {y - 4} {48 * PT} {17 * PT} re f "
        f"BT /Pale 6.5 Tf 1 g {x} {y + 20} Td (Pay one fare and draw a card) Tj ET".encode(),
        Font={"Pale": font()})


def transparency(path):
    write(path)
    x, y = inside(12, 50)
    add(path, 3, f"/Half gs 0.8 0.7 0.2 rg {x} {y} {30 * PT} {20 * PT} re f".encode(),
        ExtGState={"Half": Dictionary(ca=0.5)})


def layers(path):
    write(path)
    x, y = inside(12, 50)
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        layer = pdf.make_indirect(Dictionary(Type=Name.OCG, Name="Tide marks"))
        pdf.Root.OCProperties = Dictionary(
            OCGs=[layer], D=Dictionary(Order=[layer], ON=[layer], OFF=[]))
        resources_of(pdf.pages[0], "Properties")["/Tide"] = layer
        pdf.pages[0].contents_add(
            f"/OC /Tide BDC 0.8 0.7 0.2 rg {x} {y} {30 * PT} {20 * PT} re f EMC".encode())
        pdf.save(path)


def locked(path):
    write(path)
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        pdf.save(path, encryption=pikepdf.Encryption(
            owner="warden", user="", allow=pikepdf.Permissions(modify_other=False,
                                                               modify_assembly=False)))


def damaged(path):
    write(path)
    data = path.read_bytes()
    place = data.rindex(b"startxref")
    path.write_bytes(data[:place] + b"startxref\n7\n%%EOF\n")


def paper_size(path):
    write(path, size=(205.0, 290.0))


def backs_not_mirrored(path):
    write(path, held=(4, 1), mirrored=False)


def scaled(path):
    write(path, scale=0.978)


def file_error(path):
    write(path, error=(1.3, 0))


def marks_off(path):
    made = pages()
    for side in made[:2]:
        lines = [item for item in side.items if isinstance(item, scene.Line)]
        cards = [item for item in side.items if not isinstance(item, scene.Line)]
        side.items = lines + [Group(cards, shift(0, 0.9))]
    produce.write(made, path, "reportlab")


def clean_reportlab(path):
    write(path)


def clean_cairo(path):
    write(path, producer="cairo")


def clean_part_filled(path):
    write(path, held=(4, 3))


def clean_one_sheet(path):
    write(path, held=(4,))


# fault: pages that it is on (empty: the file as a whole)
FAULTS = {
    no_bleed: [1, 2, 3, 4], little_bleed: [1, 2, 3, 4], outside_printable: [3],
    thin_border: [1, 2, 3, 4], coarse_picture: [1, 3], tiny_text: [1], hairline: [3],
    heavy_ink: [2], light_text_on_dark: [1], transparency: [3], layers: [1], locked: [],
    damaged: [], paper_size: [1, 2, 3, 4], backs_not_mirrored: [4], scaled: [1, 2, 3, 4],
    file_error: [2, 4], marks_off: [1, 2],
}
CLEAN = [clean_reportlab, clean_cairo, clean_part_filled, clean_one_sheet]
