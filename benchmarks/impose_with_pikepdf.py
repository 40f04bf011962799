"""The same placement with pikepdf: cells as clipped forms, or pictures as image XObjects.

    impose_with_pikepdf.py cells|pictures JOB OUT.pdf
"""

import sys
from pathlib import Path

import pikepdf
from PIL import Image

UNIT = 72 / 25.4


def main(kind, job, target):
    """Reads the list line by line and places what it says."""
    pdf = pikepdf.new()
    opened, forms, page, content, objects = {}, {}, None, "", {}

    def finish():
        if page is not None:
            page.obj.Resources = pikepdf.Dictionary(XObject=pikepdf.Dictionary(objects))
            page.obj.Contents = pdf.make_stream(content.encode())

    for line in Path(job).read_text().splitlines():
        words = line.split()
        if words[0] == "page":
            finish()
            width, height = (float(v) for v in words[1:3])
            page = pdf.add_blank_page(page_size=(width * UNIT, height * UNIT))
            content, objects = "", {}
            continue
        file, number = words[1], int(words[2])
        xx, xy, yx, yy, dx, dy = (float(v) for v in words[8:14])
        w, h = float(words[14]), float(words[15])
        if (file, number) not in forms:
            if kind == "cells":
                source = opened.setdefault(file, None) or pikepdf.open(file)
                opened[file] = source
                form = source.make_indirect(source.pages[number - 1].as_form_xobject())
                forms[file, number] = pdf.copy_foreign(form)
            else:
                forms[file, number] = picture(pdf, file)
        name = f"/X{len(objects)}"
        objects[name] = forms[file, number]
        # From the card's frame (mm, y down) to the page (points, y up).
        content += (f"q {xx * UNIT} {-yx * UNIT} {xy * UNIT} {-yy * UNIT} {dx * UNIT} "
                    f"{(height - dy) * UNIT} cm 0 0 {w} {h} re W n ")
        if kind == "cells":
            x, y = float(words[3]), float(words[4])
            content += f"{1 / UNIT} 0 0 {-1 / UNIT} {-x} {297 - y} cm {name} Do Q\n"
        else:
            content += f"{w} 0 0 {-h} 0 {h} cm {name} Do Q\n"
    finish()
    pdf.save(target, compress_streams=False, stream_decode_level=pikepdf.StreamDecodeLevel.none)


def picture(pdf, file):
    """A JPEG as it is."""
    with Image.open(file) as opened:
        width, height = opened.size
    return pdf.make_indirect(pikepdf.Stream(pdf, Path(file).read_bytes(), pikepdf.Dictionary(
        Type=pikepdf.Name.XObject, Subtype=pikepdf.Name.Image, Width=width, Height=height,
        ColorSpace=pikepdf.Name.DeviceRGB, BitsPerComponent=8, Filter=pikepdf.Name.DCTDecode)))


if __name__ == "__main__":
    main(*sys.argv[1:])
