"""Hand-built files about what stands in content streams: pieces, state, layers, forms, fonts."""

from pathlib import Path

from pikepdf import Array, Dictionary, Name

import saltmarsh
from byhand import (A4, PT, Sheet, feature_page, frame, num, paint, seen_matrix, square)


def split_streams(path: Path):
    """Content in many streams, cut between an operator and its operands; one stream shared."""
    sheet = Sheet()
    for number in (1, 2):
        content, resources, box = sheet.cards(A4, number)
        tokens = content.split(" ")
        pieces = [" ".join(tokens[i:i + 97]) for i in range(0, len(tokens), 97)]
        sheet.add(Dictionary(Type=Name.Page, MediaBox=Array(box), Resources=resources,
                             Contents=Array([sheet.stream(piece) for piece in pieces])))
    content, resources, box = sheet.cards(A4, 3)
    shared, extra = sheet.stream(content), sheet.stream(
        paint(saltmarsh.fiducial(105, 20), seen_matrix(box)))
    for contents in (Array([shared, extra]), Array([shared]), Array([shared, shared])):
        sheet.add(Dictionary(Type=Name.Page, MediaBox=Array(box), Resources=resources,
                             Contents=contents))
    sheet.save(path)


def unbalanced(path: Path):
    """Stray Q, missing Q, marked content left open, a clip and a matrix never restored."""
    sheet = Sheet()
    content, resources, box = sheet.cards(A4, 1)
    a, b, c, d, e, f = seen_matrix(box)
    for before, after in [("", ""), ("Q Q\n", "Q\n"), ("q\n", ""), ("q q 1 0 0 1 0 0 cm\n", ""),
                          ("/Artifact BMC\n", ""), ("Q\nq\n", "Q Q Q\n")]:
        sheet.add(Dictionary(Type=Name.Page, MediaBox=Array(box), Resources=resources,
                             Contents=sheet.stream(before + content + after)))
    bare_matrix = " ".join(num(v) for v in (a, b, c, d, e, f))
    squares = "".join(square(cx, cy) for cx, cy in saltmarsh.fiducial_centres(*A4))
    text = "BT /F1 9 Tf 1 0 0 -1 60 90 Tm (Samphire, picked at low tide) Tj ET\n"
    sheet.add(Dictionary(
        Type=Name.Page, MediaBox=Array(box), Resources=resources,
        Contents=Array([
            sheet.stream(f"{bare_matrix} cm\n0 0 {A4[0]} 160 re W n\n{squares}{text}"),
            sheet.stream("0.8 0.5 0.2 rg 70 100 40 90 re f\n" + square(150, 140))])))
    sheet.save(path)


def inline_images(path: Path):
    """Inline images, one holding the bytes of an EI operator within its data."""
    sheet = Sheet()
    gray = bytearray((x * 5 + y * 3) % 200 for y in range(32) for x in range(32))
    gray[100:104] = b"\nEI "
    spot = bytearray(b"\xff" * 64 * 64)
    for y in range(16, 48):
        spot[y * 64 + 16:y * 64 + 48] = b"\x00" * 32
    content = (b"q 60 0 0 -60 60 120 cm BI /W 32 /H 32 /CS /G /BPC 8 ID " + bytes(gray)
               + b"\nEI Q\nq 8 0 0 -8 140 100 cm BI /W 64 /H 64 /CS /G /BPC 8 ID "
               + bytes(spot) + b"\nEI Q\n" + square(120, 200).encode())
    for _ in range(2):
        page = feature_page(sheet, "", sheet.resources())
        box = [float(v) for v in page.MediaBox]
        matrix = " ".join(num(v) for v in seen_matrix(box)).encode()
        head = paint(frame(A4), seen_matrix(box)).encode()
        page.Contents = sheet.stream(head + b"q " + matrix + b" cm\n" + content + b"Q\n")
        sheet.add(page)
    sheet.save(path)


def forms(path: Path):
    """Nested forms, a form with a matrix, and one that leans on its page's resources."""
    sheet = Sheet()
    leaf = sheet.form(square(0, 0) + "BT /F1 5 Tf 1 0 0 -1 -4 9 Tm (Eel Trap) Tj ET",
                      (-20, -20, 20, 20), Resources=sheet.resources())
    nested = sheet.form("q 1 0 0 1 10 10 cm /Leaf Do Q q 1 0 0 1 60 30 cm /Leaf Do Q",
                        (-50, -50, 150, 150), Matrix=Array([0, 1, -1, 0, 90, 0]),
                        Resources=Dictionary(XObject=Dictionary(Leaf=leaf)))
    leaning = sheet.form("q 1 0 0 1 40 60 cm /Leaf Do Q BT /F1 7 Tf 1 0 0 -1 20 90 Tm"
                         " (Fonts of the page) Tj ET", (0, 0, 200, 200))
    resources = sheet.resources(XObject=Dictionary(Leaf=leaf, Nested=nested, Leaning=leaning))
    content = ("q 1 0 0 1 60 60 cm /Nested Do Q\nq 1 0 0 1 20 150 cm /Leaning Do Q\n"
               "q 1 0 0 1 25 30 cm /Leaf Do Q q 1.5 0 0 0.5 150 200 cm /Leaf Do Q")
    sheet.add(feature_page(sheet, content, resources))
    sheet.add(feature_page(sheet, content, resources))
    inherited = feature_page(sheet, content, resources)
    del inherited["/Resources"]
    sheet.pdf.Root.Pages.Resources = resources
    sheet.add(inherited)
    sheet.save(path)


def layers(path: Path):
    """Optional content: layers on and off, membership, on marked content, forms and images."""
    sheet = Sheet()
    groups = {name: sheet.pdf.make_indirect(Dictionary(Type=Name.OCG, Name=name))
              for name in ("Shown", "Hidden", "Print only")}
    groups["Print only"].Usage = Dictionary(Print=Dictionary(PrintState=Name.ON),
                                            View=Dictionary(ViewState=Name.OFF))
    member = sheet.pdf.make_indirect(Dictionary(
        Type=Name.OCMD, OCGs=Array([groups["Shown"], groups["Hidden"]]), P=Name.AllOn))
    sheet.pdf.Root.OCProperties = Dictionary(
        OCGs=Array(list(groups.values())),
        D=Dictionary(ON=Array([groups["Shown"], groups["Print only"]]),
                     OFF=Array([groups["Hidden"]]), Order=Array(list(groups.values()))))
    hidden = sheet.form("0.9 0.1 0.1 rg 0 0 60 60 re f", (0, 0, 60, 60), OC=groups["Hidden"])
    shown = sheet.form(square(30, 30), (0, 0, 60, 60), OC=groups["Shown"])
    resources = sheet.resources(
        XObject=Dictionary(H=hidden, S=shown),
        Properties=Dictionary(On=groups["Shown"], Off=groups["Hidden"], Both=member))
    content = ("/OC /On BDC 0.2 0.5 0.7 rg 30 30 60 40 re f EMC\n"
               "/OC /Off BDC 0.9 0.1 0.1 rg 110 30 60 40 re f EMC\n"
               "/OC /Both BDC 0.9 0.1 0.1 rg 30 90 60 40 re f EMC\n"
               "/OC /On BDC " + square(130, 110) + "/OC /Off BDC 0.9 0 0 rg 150 90 20 20 re f EMC"
               " EMC\nq 1 0 0 1 30 150 cm /S Do Q q 1 0 0 1 110 150 cm /H Do Q")
    sheet.add(feature_page(sheet, content, resources))
    sheet.add(feature_page(sheet, content, resources))
    sheet.save(path)


def type3(path: Path):
    """A Type 3 font whose glyphs are fiducials, and text used as a clip."""
    sheet = Sheet()
    glyph = sheet.stream("8 0 0 0 8 8 d1 2 2 4 4 re f")
    reed = sheet.stream("8 0 d0 0.4 0.5 0.2 rg 3 0 1 8 re f 5 0 1 6 re f")
    font = sheet.pdf.make_indirect(Dictionary(
        Type=Name.Font, Subtype=Name.Type3, FontBBox=Array([0, 0, 8, 8]),
        FontMatrix=Array([0.125, 0, 0, 0.125, 0, 0]), FirstChar=97, LastChar=98,
        Widths=Array([8, 8]), CharProcs=Dictionary(spot=glyph, reed=reed), Resources=Dictionary(),
        Encoding=Dictionary(Type=Name.Encoding, Differences=Array([97, Name.spot, Name.reed]))))
    resources = sheet.resources()
    resources.Font.T3 = font
    content = ("0 g BT /T3 8 Tf 1 0 0 -1 60 80 Tm (aba) Tj 0 -60 Td (abab) Tj ET\n"
               "q BT 7 Tr /F1 40 Tf 1 0 0 -1 40 230 Tm (FERRY) Tj ET\n"
               "0.2 0.4 0.7 rg 30 180 150 35 re f 0.8 0.6 0.1 rg 30 215 150 30 re f Q")
    sheet.add(feature_page(sheet, content, resources))
    sheet.add(feature_page(sheet, content, resources))
    sheet.save(path)


def patterns(path: Path):
    """Tiling and shading patterns, coloured and not, and the sh operator."""
    sheet = Sheet()
    width, height = A4[0] * PT, A4[1] * PT
    # The page's default space: patterns take their matrix from it, whatever cm says.
    tile = sheet.stream(square(10, 10) + "0.4 0.6 0.8 rg 0 0 20 3 re f", Type=Name.Pattern,
                        PatternType=1, PaintType=1, TilingType=1, BBox=Array([0, 0, 20, 20]),
                        XStep=20, YStep=20, Resources=Dictionary(),
                        Matrix=Array([PT, 0, 0, -PT, 30 * PT, height - 40 * PT]))
    slanted = sheet.stream("5 0 2 20 re f 0 5 20 1 re f", Type=Name.Pattern, PatternType=1,
                           PaintType=2, TilingType=2, BBox=Array([0, 0, 20, 20]), XStep=22,
                           YStep=21, Resources=Dictionary(),
                           Matrix=Array([0.9, 0.3, -0.3, 0.9, 40, 70]))
    ramp = Dictionary(FunctionType=2, Domain=Array([0, 1]), C0=Array([0.9, 0.8, 0.3]),
                      C1=Array([0.1, 0.3, 0.5]), N=1)
    axial = sheet.pdf.make_indirect(Dictionary(
        ShadingType=2, ColorSpace=Name.DeviceRGB, Coords=Array([30, 0, 110, 60]),
        Function=ramp, Extend=Array([True, True])))
    radial = sheet.pdf.make_indirect(Dictionary(
        ShadingType=3, ColorSpace=Name.DeviceRGB,
        Coords=Array([450, 250, 10, 430, 260, 90]), Function=ramp))
    triangles = b"".join(
        bytes([0]) + x.to_bytes(2, "big") + y.to_bytes(2, "big") + bytes(colour)
        for x, y, colour in [(0, 0, (250, 80, 60)), (65535, 9000, (70, 200, 90)),
                             (30000, 65535, (40, 60, 220))])
    mesh = sheet.stream(triangles, ShadingType=4, ColorSpace=Name.DeviceRGB,
                        BitsPerCoordinate=16, BitsPerComponent=8, BitsPerFlag=8,
                        Decode=Array([0, 50, 0, 50, 0, 1, 0, 1, 0, 1]))
    by_function = sheet.pdf.make_indirect(Dictionary(
        ShadingType=1, ColorSpace=Name.DeviceRGB, Domain=Array([0, 1, 0, 1]),
        Matrix=Array([40, 0, 0, 40, 30, 210]),
        Function=sheet.stream("{ 2 copy add 2 div }", FunctionType=4,
                              Domain=Array([0, 1, 0, 1]), Range=Array([0, 1, 0, 1, 0, 1]))))
    resources = sheet.resources(
        Pattern=Dictionary(
            Tile=tile, Slant=slanted,
            Round=Dictionary(Type=Name.Pattern, PatternType=2, Shading=radial),
            Axis=Dictionary(Type=Name.Pattern, PatternType=2, Shading=axial,
                            Matrix=Array([PT, 0, 0, PT, 20, 400]))),
        ColorSpace=Dictionary(Ink=Array([Name.Pattern, Name.DeviceRGB])),
        Shading=Dictionary(A=axial, M=mesh, F=by_function))
    content = ("/Pattern cs /Tile scn 30 40 60 60 re f\n"
               "/Ink cs 0.6 0.2 0.3 /Slant scn 110 40 60 60 re f\n"
               "/Pattern cs /Axis scn 30 120 60 20 re f\n"
               "/Pattern CS /Axis SCN 5 w 30 150 m 90 165 l S\n"
               "/Pattern cs /Round scn 110 120 60 80 re f\n"
               "BT /Pattern cs /Tile scn /F1 30 Tf 1 0 0 -1 30 195 Tm (TIDE) Tj ET\n"
               "q 80 205 40 50 re W n 1 0 0 1 80 205 cm /M sh Q q 30 210 40 40 re W n /F sh Q\n"
               "q 130 210 50 30 re W n 1 0 0 1 90 180 cm /A sh Q\n")
    nested = sheet.form("/Pattern cs /Tile scn 90 430 150 120 re f", (0, 0, width, height),
                        Resources=resources, Matrix=Array([1, 0, 0, 1, 0, 0]))
    sheet.add(feature_page(sheet, content, resources))
    sheet.add(feature_page(sheet, content, resources))
    within = sheet.resources(XObject=Dictionary(N=nested))
    page = feature_page(sheet, "", within)
    page.Contents = Array([page.Contents, sheet.stream("q 0.8 0 0 0.8 30 20 cm /N Do Q")])
    sheet.add(page)
    sheet.save(path)
