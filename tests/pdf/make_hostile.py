"""Makes damaged and hostile files, all from a fixed seed.

    python make_hostile.py CORPUS FOLDER

Damage (truncation, flipped bits, shifted cross-references) is done to small files of the corpus;
the hostile ones are written byte by byte.
"""

import random
import sys
import zlib
from pathlib import Path

SQUARES = b"".join(
    b"1 g %d %d 23 23 re f 0 g %d %d 11.339 11.339 re f\n" % (x - 6, y - 6, x, y)
    for x, y in [(20, 20), (540, 25), (25, 800), (545, 790), (20, 300), (300, 500)])
BOX = b"[0 0 595 842]"
BASES = ["forms.pdf", "layers.pdf", "patterns.pdf", "type3.pdf", "unbalanced.pdf",
         "annotations-object_streams.pdf", "latex_cards.pdf", "fields-user_password.pdf"]


def stream(data, entries=b"", length=None):
    """A stream object's body."""
    length = len(data) if length is None else length
    if isinstance(length, int):
        length = b"%d" % length
    return b"<< /Length " + length + b" " + entries + b" >>\nstream\n" + data + b"\nendstream"


def page(number, entries=b"", contents=b"/Contents 5 0 R", parent=b"/Parent 2 0 R",
         box=b"/MediaBox " + BOX, resources=b"/Resources << >>"):
    """Object `number`: a page with these entries."""
    return {number: b"<< /Type /Page " + b" ".join([parent, box, resources, contents, entries])
            + b" >>"}


def document(changes=None, drop=(), trailer=b"", root=b"", xref=True, startxref=None):
    """A two-page file with some objects replaced; an honest cross-reference unless told not to."""
    objects = {
        1: b"<< /Type /Catalog /Pages 2 0 R " + root + b" >>",
        2: b"<< /Type /Pages /Kids [3 0 R 4 0 R] /Count 2 >>",
        **page(3), **page(4), 5: stream(SQUARES),
    }
    objects.update(changes or {})
    for number in drop:
        objects.pop(number, None)
    out = bytearray(b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n")
    offsets = {}
    for number, body in sorted(objects.items()):
        offsets[number] = len(out)
        out += b"%d 0 obj\n" % number + body + b"\nendobj\n"
    start = len(out)
    if xref:
        size = max(objects) + 1
        out += b"xref\n0 %d\n0000000000 65535 f \n" % size
        for number in range(1, size):
            out += (b"%010d 00000 n \n" % offsets[number] if number in offsets
                    else b"0000000000 00000 f \n")
        out += b"trailer\n<< /Size %d /Root 1 0 R %s >>\n" % (size, trailer)
    out += b"startxref\n%d\n%%%%EOF\n" % (start if startxref is None else startxref)
    return bytes(out)


def form(data, resources=b"<< >>", entries=b""):
    """A form XObject's body."""
    return stream(data, b"/Type /XObject /Subtype /Form /BBox " + BOX + b" /Resources "
                  + resources + b" " + entries)


def with_form(name, extra):
    """A second page that draws form 6, with the objects `extra`."""
    return {name: document({
        **page(4, resources=b"/Resources << /XObject << /A 6 0 R >> >>", contents=b"/Contents 7 0 R"),
        7: stream(SQUARES + b"/A Do"), **extra})}


def loops():
    """Things that contain themselves."""
    made = {
        "kids-hold-themselves": document(
            {2: b"<< /Type /Pages /Kids [3 0 R 2 0 R 4 0 R] /Count 3 >>"}),
        "kids-hold-the-catalog": document(
            {2: b"<< /Type /Pages /Kids [3 0 R 1 0 R 4 0 R] /Count 3 >>"}),
        "two-nodes-hold-each-other": document({
            2: b"<< /Type /Pages /Kids [3 0 R 6 0 R] /Count 9 >>",
            6: b"<< /Type /Pages /Parent 2 0 R /Kids [4 0 R 7 0 R] /Count 8 >>",
            7: b"<< /Type /Pages /Parent 6 0 R /Kids [6 0 R 2 0 R] /Count 7 >>"}),
        "parent-is-itself": document(
            {**page(4, parent=b"/Parent 4 0 R", box=b"", resources=b"")}),
        "parents-go-round": document({
            **page(4, parent=b"/Parent 6 0 R", box=b"", resources=b""),
            6: b"<< /Type /Pages /Parent 7 0 R /Kids [4 0 R] /Count 1 >>",
            7: b"<< /Type /Pages /Parent 6 0 R /Kids [6 0 R] /Count 1 >>"}),
        "contents-hold-themselves": document(
            {**page(4, contents=b"/Contents 6 0 R"), 6: b"[5 0 R 6 0 R]"}),
        "length-is-itself": document({5: stream(SQUARES, length=b"5 0 R")}),
        "lengths-go-round": document(
            {5: stream(SQUARES, length=b"6 0 R"), 6: stream(b"", length=b"5 0 R")}),
        "box-is-itself": document({**page(4, box=b"/MediaBox 6 0 R"), 6: b"6 0 R"}),
        "resources-are-the-page": document({**page(4, resources=b"/Resources 4 0 R")}),
        "previous-xref-is-this": document(trailer=b"/Prev 9"),
        "outlines-go-round": document(
            {6: b"<< /First 7 0 R /Last 7 0 R /Count 1 >>",
             7: b"<< /Title (A) /Parent 6 0 R /Next 7 0 R /First 7 0 R >>"},
            root=b"/Outlines 6 0 R"),
        "fields-go-round": document(
            {**page(4, b"/Annots [7 0 R]"),
             7: b"<< /Type /Annot /Subtype /Widget /FT /Tx /T (a) /Parent 7 0 R /Kids [7 0 R]"
                b" /Rect [50 50 90 90] /F 4 >>"},
            root=b"/AcroForm << /Fields [7 0 R] >>"),
        "annotations-hold-themselves": document(
            {**page(4, b"/Annots 6 0 R"), 6: b"[6 0 R 6 0 R 4 0 R]"}),
        "layers-go-round": document(
            {**page(4, resources=b"/Resources << /Properties << /A 6 0 R >> >>",
                    contents=b"/Contents 7 0 R"),
             6: b"<< /Type /OCMD /OCGs 6 0 R /VE [/Or [/Not 6 0 R] 6 0 R] >>",
             7: stream(b"/OC /A BDC\n" + SQUARES + b"EMC")},
            root=b"/OCProperties << /OCGs [6 0 R] /D << /Order [6 0 R] >> >>"),
    }
    own = b"<< /XObject << /A 6 0 R /B 8 0 R >> >>"
    made |= with_form("form-draws-itself", {6: form(b"/A Do", own)})
    made |= with_form("forms-draw-each-other",
                      {6: form(b"/B Do /B Do", own), 8: form(b"/A Do /A Do", own)})
    made |= with_form("group-masks-itself", {6: form(
        b"/G gs 0 0 50 50 re f",
        b"<< /ExtGState << /G << /SMask << /S /Alpha /G 6 0 R >> >> >> >>",
        b"/Group << /S /Transparency >>")})
    made |= with_form("pattern-fills-itself", {
        6: form(b"/Pattern cs /P scn 0 0 300 300 re f", b"<< /Pattern << /P 8 0 R >> >>"),
        8: stream(b"/Pattern cs /P scn 0 0 9 9 re f",
                  b"/PatternType 1 /PaintType 1 /TilingType 1 /BBox [0 0 9 9] /XStep 9 /YStep 9"
                  b" /Resources << /Pattern << /P 8 0 R >> >>")})
    made["appearance-draws-itself"] = document({
        **page(4, b"/Annots [7 0 R]"),
        6: form(b"0 0 1 rg 0 0 30 30 re f /A Do", own),
        7: b"<< /Type /Annot /Subtype /Stamp /Rect [50 50 90 90] /F 4 /AP << /N 6 0 R >> >>"})
    return made


def huge():
    """Large numbers, and few bytes that mean very much."""
    kids = b" ".join([b"%d 0 R"] * 10)
    laughs = {10 + level: b"<< /Type /Pages /Count 1 /Parent %d 0 R /Kids [%s] >>"
              % (9 + level, kids % ((11 + level,) * 10)) for level in range(9)}
    laughs |= {2: b"<< /Type /Pages /Kids [3 0 R 4 0 R 10 0 R] /Count 2 >>",
               19: b"<< /Type /Page /Parent 18 0 R /MediaBox " + BOX + b" >>"}
    nested = {8 + level: form(b"/A Do " * 10, b"<< /XObject << /A %d 0 R >> >>" % (9 + level))
              for level in range(9)}
    nested |= {6: form(b"/A Do " * 10, b"<< /XObject << /A 8 0 R >> >>"),
               17: form(b"0 0 9 9 re f")}
    made = {
        "count-of-two-thousand-million": document(
            {2: b"<< /Type /Pages /Kids [3 0 R 4 0 R] /Count 2147483647 >>"}),
        "count-below-nothing": document(
            {2: b"<< /Type /Pages /Kids [3 0 R 4 0 R] /Count -5 >>"}),
        "ten-thousand-million-pages": document(laughs),
        "one-page-ten-thousand-times": document(
            {2: b"<< /Type /Pages /Count 10000 /Kids [" + b"4 0 R " * 10000 + b"] >>"}),
        "size-of-everything": document(trailer=b"/Size 999999999999"),
        "xref-claims-a-thousand-million": document().replace(b"xref\n0 6", b"xref\n0 999999999"),
        "object-number-too-large": document().replace(b"5 0 obj", b"4294967295 0 obj"),
        "picture-a-thousand-million-wide": document({
            **page(4, resources=b"/Resources << /XObject << /A 6 0 R >> >>",
                   contents=b"/Contents 7 0 R"),
            6: stream(b"abc", b"/Type /XObject /Subtype /Image /Width 999999999 /Height 999999999"
                              b" /ColorSpace /DeviceRGB /BitsPerComponent 8"),
            7: stream(SQUARES + b"q 20 0 0 20 100 100 cm /A Do Q")}),
        "predictor-of-everything": document({5: stream(
            zlib.compress(SQUARES), b"/Filter /FlateDecode /DecodeParms << /Predictor 12 "
                                    b"/Columns 2147483647 /Colors 32 /BitsPerComponent 16 >>")}),
        "a-hundred-thousand-annotations": document(
            {**page(4, b"/Annots [" + b"7 0 R " * 100000 + b"]"),
             6: form(b"0 0 9 9 re f"),
             7: b"<< /Type /Annot /Subtype /Stamp /Rect [50 50 90 90] /F 4"
                b" /AP << /N 6 0 R >> >>"}),
        "a-hundred-thousand-content-streams": document(
            {**page(4, contents=b"/Contents [" + b"5 0 R " * 100000 + b"]")}),
    }
    made |= with_form("forms-multiply", nested)
    return made


def deep():
    """Nesting that a recursive reader would not survive."""
    depth = 100_000
    chain = {10 + level: b"<< /Type /Pages /Count 1 /Parent %d 0 R /Kids [%d 0 R] >>"
             % (max(2, 9 + level), 11 + level) for level in range(5000)}
    chain |= {2: b"<< /Type /Pages /Count 2 /Kids [3 0 R 10 0 R] >>",
              5010: b"<< /Type /Page /Parent 5009 0 R /MediaBox " + BOX
                    + b" /Contents 5 0 R >>"}
    forms = {10 + level: form(b"/A Do", b"<< /XObject << /A %d 0 R >> >>" % (11 + level))
             for level in range(3000)}
    forms |= {3010: form(b"0 0 9 9 re f"), 6: form(b"/A Do", b"<< /XObject << /A 10 0 R >> >>")}
    made = {
        "arrays-in-arrays": document({6: b"[" * depth + b"]" * depth,
                                      **page(4, b"/PieceInfo 6 0 R")}),
        "dictionaries-in-dictionaries": document(
            {6: b"<< /A " * depth + b"0" + b" >>" * depth, **page(4, b"/PieceInfo 6 0 R")}),
        "arrays-never-closed": document({6: b"[" * depth, **page(4, b"/PieceInfo 6 0 R")}),
        "state-saved-a-million-times": document({5: stream(b"q " * 1_000_000 + SQUARES)}),
        "arrays-in-content": document({5: stream(SQUARES + b"[" * depth)}),
        "dictionaries-in-content": document({5: stream(SQUARES + b"/A << /B " * depth)}),
        "page-tree-five-thousand-deep": document(chain),
        "references-in-a-long-row": document(
            {**page(4, contents=b"/Contents 10 0 R"),
             **{10 + n: b"%d 0 R" % (11 + n) for n in range(5000)}, 5010: b"5 0 R"}),
    }
    made |= with_form("forms-three-thousand-deep", forms)
    return made


def zeros(megabytes, byte=b" ", level=9):
    """A zlib stream of many equal bytes, made without holding them."""
    squeeze = zlib.compressobj(level)
    block = byte * (1 << 20)
    parts = [squeeze.compress(block) for _ in range(megabytes)]
    return b"".join([*parts, squeeze.flush()])


def pointed_at_6(data):
    """The file with object 6 as its cross-reference."""
    return data.rsplit(b"startxref", 1)[0] + b"startxref\n%d\n%%%%EOF\n" % data.index(b"6 0 obj")


def bombs():
    """Small streams that decode to gigabytes."""
    two_gigabytes = zeros(2048)
    twice = zlib.compress(two_gigabytes, 9)
    flate = b"/Filter /FlateDecode"
    picture = (b"/Type /XObject /Subtype /Image /Width 40000 /Height 40000 /ColorSpace"
               b" /DeviceGray /BitsPerComponent 8 ")
    return {
        "content-of-two-gigabytes": document({5: stream(two_gigabytes, flate)}),
        "content-squeezed-twice": document(
            {5: stream(twice, b"/Filter [/FlateDecode /FlateDecode]")}),
        "content-of-lzw-and-flate": document(
            {5: stream(twice, b"/Filter [/FlateDecode /FlateDecode /RunLengthDecode]")}),
        "picture-of-two-gigabytes": document({
            **page(4, resources=b"/Resources << /XObject << /A 6 0 R >> >>",
                   contents=b"/Contents 7 0 R"),
            6: stream(two_gigabytes, picture + flate),
            7: stream(SQUARES + b"q 20 0 0 20 100 100 cm /A Do Q")}),
        "object-stream-of-two-gigabytes": document(
            {6: stream(two_gigabytes, b"/Type /ObjStm /N 100 /First 900 " + flate),
             **page(4, b"/PieceInfo 99 0 R")}),
        "xref-stream-of-two-gigabytes": pointed_at_6(document(
            {6: stream(two_gigabytes, b"/Type /XRef /Size 99999999 /W [1 4 2] /Root 1 0 R "
                       + flate)}, xref=False)),
        "appearance-of-two-gigabytes": document({
            **page(4, b"/Annots [7 0 R]"), 6: form(two_gigabytes, entries=flate),
            7: b"<< /Type /Annot /Subtype /Stamp /Rect [50 50 90 90] /F 4"
               b" /AP << /N 6 0 R >> >>"}),
        "content-of-a-hundred-megabytes-of-work": document(
            {5: stream(zlib.compress(b"0 0 m 9 9 l S\n" * 7_000_000, 6), flate)}),
    }


def odd_pages():
    """Boxes, rotations, units and contents that make no sense."""
    made = {}
    for name, box in {
        "giant": b"[0 0 999999999 999999999]", "not-a-number": b"[0 0 nan inf]",
        "overflowing": b"[0 0 1e400 9" + b"9" * 400 + b"]", "signs": b"[0 0 --595 +-842]",
        "points": b"[0 0 5.9.5 8.4.2]", "strings": b"[(0) (0) (595) (842)]",
        "no-area": b"[0 0 0 842]", "backwards": b"[595 842 0 0]", "three": b"[0 0 595]",
        "five": b"[0 0 595 842 1]", "null": b"null", "missing": b"[9 0 R 0 595 842]",
        "tiny": b"[0 0 0.000001 0.000001]", "name": b"/A4", "far-away":
            b"[1000000000 1000000000 1000000595 1000000842]",
    }.items():
        made[f"box-{name}"] = document(page(4, box=b"/MediaBox " + box))
    made["box-nowhere"] = document(page(4, box=b""))
    made["crop-outside"] = document(page(4, b"/CropBox [900 900 1500 1700]"))
    for name, entry in {
        "rotate-45": b"/Rotate 45", "rotate-name": b"/Rotate /Right", "rotate-huge":
            b"/Rotate 99999999990", "rotate-real": b"/Rotate 90.0", "unit-none": b"/UserUnit 0",
        "unit-negative": b"/UserUnit -1", "unit-huge": b"/UserUnit 1e30",
        "annots-number": b"/Annots 7", "annots-dictionary": b"/Annots << >>",
        "annot-null": b"/Annots [null 99 0 R 5 /A]",
        "annot-rect": b"/Annots [<< /Subtype /Stamp /Rect [1] /AP << /N 5 0 R >> >>]",
        "annot-empty-box": b"/Annots [<< /Subtype /Stamp /F 4 /Rect [50 50 50 50] "
                           b"/AP << /N 5 0 R >> >>]",
    }.items():
        made[entry_name(name)] = document(page(4, entry))
    for name, contents in {
        "dictionary": b"/Contents << /A 1 >>", "number": b"/Contents 7",
        "nowhere": b"/Contents 99 0 R", "string": b"/Contents (0 0 9 9 re f)",
        "mixed": b"/Contents [null 5 0 R 99 0 R 7 << >> 5 0 R]", "the-page": b"/Contents 4 0 R",
    }.items():
        made[f"contents-{name}"] = document(page(4, contents=contents))
    broken = bytearray(zlib.compress(SQUARES * 9))
    broken[len(broken) // 2] ^= 0x55
    for name, body in {
        "filter-unknown": stream(SQUARES, b"/Filter /ReedDecode"),
        "filter-picture": stream(SQUARES, b"/Filter /JBIG2Decode"),
        "filter-crypt": stream(SQUARES, b"/Filter /Crypt /DecodeParms << /Name /Reed >>"),
        "filter-damaged": stream(bytes(broken), b"/Filter /FlateDecode"),
        "filter-cut": stream(zlib.compress(SQUARES * 9)[:60], b"/Filter /FlateDecode"),
        "filter-raw": stream(zlib.compress(SQUARES)[2:-4], b"/Filter /FlateDecode"),
        "length-short": stream(SQUARES, length=10), "length-long": stream(SQUARES, length=99999),
        "length-negative": stream(SQUARES, length=-1),
        "length-nowhere": stream(SQUARES, length=b"99 0 R"),
        "length-string": stream(SQUARES, length=b"(long)"),
        "length-huge": stream(SQUARES, length=b"99999999999999999999"),
    }.items():
        made[f"stream-{name}"] = document({5: body})
    made["content-is-noise"] = document({5: stream(random.Random(3).randbytes(20000))})
    return made


def entry_name(name):
    """A file name for a page entry."""
    return f"page-{name}"


def not_quite_pdf():
    """Files that are no PDF, or hardly."""
    noise = random.Random(4).randbytes(65536)
    whole = document()
    return {
        "nothing": b"", "one-byte": b"%", "header-alone": b"%PDF-1.7\n",
        "end-alone": b"%PDF-1.7\nstartxref\n0\n%%EOF\n", "text": b"Saltmarsh Ferry\n" * 200,
        "noise": noise, "header-and-noise": b"%PDF-1.7\n" + noise,
        "picture": b"\x89PNG\r\n\x1a\n" + noise[:4000], "web-page": b"<!doctype html><p>404",
        "archive": b"PK\x03\x04" + noise[:3000],
        "late-header": b"\n" * 700 + whole, "mail-before": b"Received: by mail\r\n" * 20 + whole,
        "noise-behind": whole + noise, "header-missing": whole[9:], "old-header":
            whole.replace(b"%PDF-1.7", b"%PDF-9.9"),
        "carriage-returns": whole.replace(b"\n", b"\r"),
        "root-nowhere": document().replace(b"/Root 1 0 R", b"/Root 9 0 R"),
        "root-number": document().replace(b"/Root 1 0 R", b"/Root 7      "),
        "catalog-missing": document(drop=[1]), "pages-missing": document(drop=[2]),
        "pages-null": document({2: b"null"}), "pages-empty":
            document({2: b"<< /Type /Pages /Kids [] /Count 0 >>"}),
        "kids-wrong": document({2: b"<< /Type /Pages /Kids [7 (a) null 3 0 R 4 0 R] /Count 2 >>"}),
        "page-missing": document(drop=[4]), "page-is-array": document({4: b"[1 2 3]"}),
        "trailer-missing": document(xref=False),
        "startxref-far": document(startxref=99999999), "startxref-zero": document(startxref=0),
        "startxref-inside": document(startxref=40),
        "startxref-negative": document(startxref=-7),
        "encrypt-garbage": document(trailer=b"/Encrypt << /Filter /Standard /V 5 /R 6 /O (a)"
                                            b" /U (b) /P -4 >> /ID [(a) (b)]"),
        "encrypt-unknown": document(trailer=b"/Encrypt << /Filter /Reed /V 99 >> /ID [(a)(b)]"),
        "encrypt-number": document(trailer=b"/Encrypt 7"),
        "encrypt-nowhere": document(trailer=b"/Encrypt 99 0 R"),
    }


def shifted_xrefs():
    """Cross-references that point a little beside their objects."""
    made = {}
    for shift in (-300, -9, -1, 1, 2, 10, 5000):
        lines = document().split(b"\n")
        lines = [b"%010d 00000 n " % max(0, int(line[:10]) + shift)
                 if line.endswith(b" 00000 n ") else line for line in lines]
        made[f"xref-off-by{shift:+d}"] = b"\n".join(lines)
    made["xref-all-the-same"] = b"\n".join(
        b"0000000015 00000 n " if line.endswith(b" n ") else line
        for line in document().split(b"\n"))
    made["xref-generations"] = document().replace(b" 00000 n", b" 00003 n")
    made["objects-twice"] = document().replace(
        b"xref\n0", b"4 0 obj\n<< /Type /Page /Parent 2 0 R >>\nendobj\nxref\n0", 1)
    return made


def damaged(corpus: Path):
    """Truncations and flipped bits of real files."""
    made = {}
    for base in BASES:
        data, stem = (corpus / base).read_bytes(), Path(base).stem
        for step in range(1, 13):
            made[f"cut-{stem}-{step:02}"] = data[:len(data) * step // 13]
        for tail in (1, 6, 40, 300):
            made[f"cut-{stem}-last{tail}"] = data[:-tail]
        for seed in range(32):
            flips = random.Random(f"{stem}{seed}")
            copy = bytearray(data)
            # From one bit to some dozens; half of the files near their structure at the end.
            for _ in range(1 << seed % 6):
                low = len(copy) * 3 // 4 if seed % 2 else 0
                copy[flips.randrange(low, len(copy))] ^= 1 << flips.randrange(8)
            made[f"flip-{stem}-{seed:02}"] = bytes(copy)
    return made


GROUPS = {"loop": loops, "huge": huge, "deep": deep, "bomb": bombs, "odd": odd_pages,
          "nopdf": not_quite_pdf, "xref": shifted_xrefs}


def make(corpus: Path, folder: Path):
    """Writes every file, in a folder for each group."""
    for group, recipe in {**GROUPS, "damage": lambda: damaged(corpus)}.items():
        (folder / group).mkdir(parents=True)
        for name, data in recipe().items():
            (folder / group / f"{name}.pdf").write_bytes(data)


if __name__ == "__main__":
    if len(sys.argv) != 3:
        sys.exit(__doc__)
    make(Path(sys.argv[1]), Path(sys.argv[2]))
