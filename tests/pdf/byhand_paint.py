"""Hand-built files about pictures, transparency, annotations and form fields."""

import io
import struct
import zlib
from pathlib import Path

from PIL import Image, ImageCms, TiffImagePlugin
from pikepdf import Array, Dictionary, Name, String

import saltmarsh
from byhand import A4, PT, Sheet, feature_page, square


def group4(image):
    """A 1-bit picture as CCITT Group 4 data; 0 in the data is white, as TIFF writes it."""
    out = io.BytesIO()
    TiffImagePlugin.STRIP_SIZE = 1 << 30
    image.save(out, "TIFF", compression="group4", tiffinfo={262: 0})
    tiff = Image.open(io.BytesIO(out.getvalue()))
    offset, length = tiff.tag_v2[273][0], tiff.tag_v2[279][0]
    return out.getvalue()[offset:offset + length]


def jbig2(image):
    """A 1-bit picture as an embedded JBIG2 stream: one generic region coded by MMR.

    ISO/IEC 14492, 7.2 (segment headers), 7.4.8 (page information) and 7.4.6 (generic region);
    MMR is the coding of CCITT Group 4.
    """
    width, height = image.size
    data = group4(image)
    page = struct.pack(">IIIIBH", width, height, 0, 0, 0, 0)
    region = struct.pack(">IIIIB", width, height, 0, 0, 0) + b"\x01" + data
    return (struct.pack(">IBBBI", 0, 48, 0, 1, len(page)) + page
            + struct.pack(">IBBBI", 1, 38, 0, 1, len(region)) + region)


def pictures(path: Path):
    """JPEG in gray, RGB and CMYK, JPEG 2000, JBIG2, CCITT, ICC, indexed, stencil and matte."""
    sheet = Sheet()
    base = saltmarsh.marked_image(320, 240, 5)
    bilevel = base.convert("L").point(lambda v: 255 if v > 110 else 0).convert("1")
    gray = base.convert("L")
    xobjects = Dictionary()

    def image(name, data, space, bits=8, size=base.size, **entries):
        if space is not None:
            entries["ColorSpace"] = space
        xobjects["/" + name] = sheet.stream(
            data, Type=Name.XObject, Subtype=Name.Image, Width=size[0], Height=size[1],
            BitsPerComponent=bits, **entries)

    image("Rgb", saltmarsh.jpeg(base), Name.DeviceRGB, Filter=Name.DCTDecode)
    image("Progressive", saltmarsh.jpeg(base, progressive=True), Name.DeviceRGB,
          Filter=Name.DCTDecode)
    image("Gray", saltmarsh.jpeg(gray), Name.DeviceGray, Filter=Name.DCTDecode)
    image("Cmyk", saltmarsh.jpeg(base.convert("CMYK")), Name.DeviceCMYK, Filter=Name.DCTDecode,
          Decode=Array([1, 0, 1, 0, 1, 0, 1, 0]))
    jpx = io.BytesIO()
    base.save(jpx, "JPEG2000", irreversible=True, quality_mode="rates", quality_layers=[12])
    image("Jpx", jpx.getvalue(), None, Filter=Name.JPXDecode)
    image("Jbig2", jbig2(bilevel), Name.DeviceGray, bits=1, Filter=Name.JBIG2Decode)
    image("Fax", group4(bilevel), Name.DeviceGray, bits=1, Filter=Name.CCITTFaxDecode,
          DecodeParms=Dictionary(K=-1, Columns=base.width, Rows=base.height))
    profile = sheet.stream(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes(),
                           N=3, Alternate=Name.DeviceRGB)
    image("Icc", zlib.compress(base.tobytes()), Array([Name.ICCBased, profile]),
          Filter=Name.FlateDecode)
    palette = base.quantize(16)
    image("Indexed", zlib.compress(palette.tobytes()),
          Array([Name.Indexed, Name.DeviceRGB, 15, String(bytes(palette.getpalette()[:48]))]),
          Filter=Name.FlateDecode)
    image("Cmyk8", zlib.compress(base.convert("CMYK").tobytes()), Name.DeviceCMYK,
          Filter=Name.FlateDecode)
    image("Lab", zlib.compress(base.tobytes()), Array([Name.CalRGB, Dictionary(
        WhitePoint=Array([0.9505, 1, 1.089]), Gamma=Array([2.2, 2.2, 2.2]))]),
        Filter=Name.FlateDecode)
    xobjects["/Stencil"] = sheet.stream(
        bilevel.tobytes(), Type=Name.XObject, Subtype=Name.Image, ImageMask=True,
        Width=base.width, Height=base.height, BitsPerComponent=1, Decode=Array([0, 1]))
    fade = Image.linear_gradient("L").resize(base.size)
    mask = sheet.stream(zlib.compress(fade.tobytes()), Type=Name.XObject, Subtype=Name.Image,
                        Width=base.width, Height=base.height, BitsPerComponent=8,
                        ColorSpace=Name.DeviceGray, Filter=Name.FlateDecode)
    image("Faded", saltmarsh.jpeg(base), Name.DeviceRGB, Filter=Name.DCTDecode, SMask=mask)
    image("Keyed", zlib.compress(gray.tobytes()), Name.DeviceGray, Filter=Name.FlateDecode,
          Mask=Array([200, 255]))
    content = ["0.7 0.8 0.7 rg 20 20 170 255 re f 0 g"]
    for index, name in enumerate(xobjects.keys()):
        x, y = 25 + index % 4 * 42, 25 + index // 4 * 60
        content.append(f"q 0.1 0.3 0.4 rg 32 0 0 -24 {x} {y + 24} cm {name} Do Q")
    content = "\n".join(content)
    for _ in range(2):
        sheet.add(feature_page(sheet, content, sheet.resources(XObject=xobjects)))
    sheet.pdf.Root.OutputIntents = Array([Dictionary(
        Type=Name.OutputIntent, S=Name("/GTS_PDFX"), OutputConditionIdentifier="sRGB",
        DestOutputProfile=profile)])
    sheet.save(path)


def transparency(path: Path):
    """Groups (isolated, knockout, the page's own), soft masks, blend modes and constant alpha."""
    sheet = Sheet()

    def kind_of_group(**entries):
        return Dictionary(Type=Name.Group, S=Name.Transparency, CS=Name.DeviceRGB, **entries)

    group, isolated, knockout = (
        kind_of_group(), kind_of_group(I=True), kind_of_group(K=True))
    ramp = Dictionary(FunctionType=2, Domain=Array([0, 1]), C0=Array([0]), C1=Array([1]), N=1)
    shade = Dictionary(ShadingType=2, ColorSpace=Name.DeviceGray, Coords=Array([20, 0, 100, 0]),
                       Function=ramp, Extend=Array([True, True]))
    luminosity = sheet.form("/S sh 1 g 60 60 8 8 re f", (0, 0, 220, 300), Group=Dictionary(
        Type=Name.Group, S=Name.Transparency, CS=Name.DeviceGray),
        Resources=Dictionary(Shading=Dictionary(S=shade)))
    alpha_form = sheet.form("0 g 120 40 30 30 re f 140 55 40 40 re f", (0, 0, 220, 300),
                            Group=group, Resources=Dictionary())
    states = Dictionary(
        Half=Dictionary(ca=0.5, CA=0.5), Multiply=Dictionary(BM=Name.Multiply),
        Difference=Dictionary(BM=Array([Name.Difference, Name.Normal])),
        Mask=Dictionary(SMask=Dictionary(S=Name.Luminosity, G=luminosity)),
        Cut=Dictionary(SMask=Dictionary(S=Name.Alpha, G=alpha_form)),
        Plain=Dictionary(SMask=Name("/None")))
    discs = "0.8 0.2 0.2 rg 0 0 40 30 re f /Half gs 0.2 0.4 0.9 rg 20 15 40 30 re f"
    inner = Dictionary(ExtGState=states)
    boxed = {name: sheet.form(discs, (0, 0, 60, 45), Group=kind, Resources=inner)
             for name, kind in (("I", isolated), ("K", knockout))}
    marked = sheet.form(square(10, 10), (0, 0, 20, 20), Group=isolated, Resources=Dictionary())
    resources = sheet.resources(ExtGState=states, XObject=Dictionary(
        I=boxed["I"], K=boxed["K"], M=marked))
    content = ("0.9 0.9 0.7 rg 20 20 170 240 re f\n"
               "q /Mask gs 0.1 0.3 0.5 rg 20 30 90 70 re f Q\n"
               "q /Cut gs 0.6 0.2 0.5 rg 110 30 80 80 re f Q\n"
               "q 1 0 0 1 30 120 cm /I Do Q q /Multiply gs 1 0 0 1 110 120 cm /K Do Q\n"
               "q /Difference gs 0.7 0.7 0.2 rg 30 180 70 30 re f 50 190 70 30 re f Q\n"
               "q /Half gs 0.1 0.5 0.2 RG 6 w 120 190 m 180 220 l S Q\n"
               "q 1 0 0 1 60 225 cm /M Do Q q /Multiply gs 1 0 0 1 130 225 cm /M Do Q")
    sheet.add(feature_page(sheet, content, resources))
    sheet.add(feature_page(sheet, content, resources, Group=isolated))
    sheet.add(feature_page(sheet, content, resources, Group=knockout))
    sheet.save(path)


def user_rect(x, y, w, h, page=A4):
    """A rectangle given in millimetres, y down, as a PDF array."""
    return Array([x * PT, (page[1] - y - h) * PT, (x + w) * PT, (page[1] - y) * PT])


def annotations(path: Path):
    """Stamps with plain and awkward appearances, a hidden one, a link, one shared by two pages."""
    sheet = Sheet()
    spot = sheet.form(square(4, 4), (0, 0, 8, 8), Resources=Dictionary())
    turned = sheet.form(square(4, 4) + "0.2 0.4 0.6 rg 8 0 8 8 re f", (0, 0, 16, 8),
                        Matrix=Array([0, 1, -1, 0, 30, -4]), Resources=Dictionary())
    slanted = sheet.form("0.8 0.5 0.2 rg 0 0 30 10 re f BT /F1 8 Tf 1 g 2 2 Td (Toll) Tj ET",
                         (0, 0, 30, 10), Matrix=Array([0.94, 0.34, -0.34, 0.94, 0, 0]),
                         Resources=sheet.resources())
    hidden = sheet.form("1 0 0 rg 0 0 10 10 re f", (0, 0, 10, 10), Resources=Dictionary())

    def stamp(form, rect, flags=4, **entries):
        return sheet.pdf.make_indirect(Dictionary(
            Type=Name.Annot, Subtype=Name.Stamp, Rect=user_rect(*rect), F=flags,
            AP=Dictionary(N=form), **entries))

    shared = stamp(spot, (150, 40, 8, 8), Contents="shared by two pages")
    for number in (1, 2):
        page = sheet.cards_page(A4, number)
        page.Annots = sheet.pdf.make_indirect(Array([
            stamp(spot, (25, 20, 8, 8)), stamp(turned, (60, 50, 8, 16)),
            stamp(turned, (90, 150, 8, 16), NM="stamp"), stamp(slanted, (40, 200, 60, 30)),
            stamp(hidden, (100, 100, 30, 30), flags=2), shared,
            sheet.pdf.make_indirect(Dictionary(
                Type=Name.Annot, Subtype=Name.Link, Rect=user_rect(120, 230, 40, 10), F=4,
                Border=Array([0, 0, 0]),
                A=Dictionary(S=Name.URI, URI="https://saltmarsh-ferry.invalid/rules"))),
        ]))
        sheet.add(page)
    rotated = sheet.cards_page(A4, 3, rotate=90)
    rotated.Rotate = 90
    rotated.Annots = Array([sheet.pdf.make_indirect(Dictionary(
        Type=Name.Annot, Subtype=Name.Stamp, Rect=Array([200, 300, 200 + 8 * PT, 300 + 8 * PT]),
        F=4, AP=Dictionary(N=spot)))])
    sheet.add(rotated)
    alone = sheet.cards_page(A4, 4)
    alone.Annots = Array([shared])
    sheet.add(alone)
    sheet.save(path)


def fields(path: Path):
    """A filled form: text, check box and radio buttons with their appearance states."""
    sheet = Sheet()
    tick = sheet.form(square(4, 4), (0, 0, 8, 8), Resources=Dictionary())
    empty = sheet.form("0.5 G 0.5 0.5 7 7 re S", (0, 0, 8, 8), Resources=Dictionary())
    label = sheet.form("/Tx BMC q BT /F1 12 Tf 0 g 2 4 Td (Lantern Buoy) Tj ET Q EMC",
                       (0, 0, 60 * PT, 8 * PT), Resources=sheet.resources())
    all_fields = []
    for number in (1, 2):
        page = sheet.add(sheet.cards_page(A4, number))
        text = sheet.pdf.make_indirect(Dictionary(
            Type=Name.Annot, Subtype=Name.Widget, FT=Name.Tx, T=f"name{number}",
            V="Lantern Buoy", DA="/F1 12 Tf 0 g", Rect=user_rect(60, 22, 60, 8), F=4, P=page,
            AP=Dictionary(N=label)))
        boxes = [sheet.pdf.make_indirect(Dictionary(
            Type=Name.Annot, Subtype=Name.Widget, FT=Name.Btn, T=f"box{number}{index}",
            V=Name.Yes if on else Name.Off, AS=Name.Yes if on else Name.Off, P=page, F=4,
            Rect=user_rect(130 + 20 * index, 60, 8, 8),
            AP=Dictionary(N=Dictionary(Yes=tick, Off=empty)))) for index, on in
            enumerate((True, False))]
        parent = sheet.pdf.make_indirect(Dictionary(
            FT=Name.Btn, Ff=1 << 15, T=f"choice{number}", V=Name.B, Kids=Array([])))
        for index, state in enumerate(("A", "B")):
            kid = sheet.pdf.make_indirect(Dictionary(
                Type=Name.Annot, Subtype=Name.Widget, Parent=parent, F=4, P=page,
                AS=Name.B if state == "B" else Name.Off,
                Rect=user_rect(40 + 20 * index, 150, 8, 8),
                AP=Dictionary(N=Dictionary({"/" + state: tick, "/Off": empty}))))
            parent.Kids.append(kid)
        page.Annots = Array([text, *boxes, *parent.Kids])
        all_fields += [text, *boxes, parent]
    sheet.pdf.Root.AcroForm = Dictionary(
        Fields=Array(all_fields), DA="/F1 12 Tf 0 g", DR=sheet.resources())
    sheet.save(path)
