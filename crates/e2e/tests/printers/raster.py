"""Reads PWG raster (PWG 5102.4), written apart from the product from the standard's tables.

  raster.py count FILE              how many pages
  raster.py tell FILE               the headers of all pages, as JSON
  raster.py pages FILE FOLDER       the pages as PNM pictures (needs nothing)
"""

import json
import struct
import sys

TEXT = {"media_class": 0, "media_type": 128, "page_size_name": 1732}
NUMBER = {
    "duplex": 272, "dpi_across": 276, "dpi_along": 280, "copies": 340, "points_wide": 352,
    "points_high": 356, "tumble": 368, "width": 372, "height": 376, "bits_per_colour": 384,
    "bits_per_pixel": 388, "bytes_per_line": 392, "colour_order": 396, "colour_space": 400,
    "colours": 420, "total_pages": 452, "cross_feed": 456, "feed": 460, "quality": 484,
}


def pages(data):
    """The pages: header and lines, unpacked."""
    if data[:4] != b"RaS2":
        raise SystemExit(f"no PWG raster: begins with {data[:4]!r}")
    at = 4
    while at < len(data):
        raw = data[at:at + 1796]
        if len(raw) < 1796:
            raise SystemExit("a header is cut short")
        at += 1796
        header = {name: raw[place:place + 64].split(b"\0")[0].decode() for name, place in TEXT.items()}
        header.update({name: struct.unpack_from(">I", raw, place)[0] for name, place in NUMBER.items()})
        for name in ("cross_feed", "feed"):
            header[name] = struct.unpack(">i", struct.pack(">I", header[name]))[0]
        unit = max(header["bits_per_pixel"] // 8, 1)
        lines = []
        while len(lines) < header["height"]:
            repeats = data[at] + 1
            at += 1
            line = bytearray()
            while len(line) < header["bytes_per_line"]:
                count = data[at]
                at += 1
                if count < 128:
                    line += data[at:at + unit] * (count + 1)
                    at += unit
                else:
                    count = (257 - count) * unit
                    line += data[at:at + count]
                    at += count
            if len(line) != header["bytes_per_line"]:
                raise SystemExit("a run passes the end of its line")
            lines.extend([bytes(line)] * repeats)
        if len(lines) != header["height"]:
            raise SystemExit("lines are repeated past the end of the page")
        yield header, lines


def picture(header, lines):
    """As PNM, with the printer's way of turning backs undone."""
    if header["feed"] == -1:
        lines = lines[::-1]
    if header["cross_feed"] == -1:
        unit = max(header["bits_per_pixel"] // 8, 1)
        if header["bits_per_pixel"] < 8:
            raise SystemExit("one bit mirrored is not read")
        turned = []
        for line in lines:
            dots = [line[i:i + unit] for i in range(0, len(line), unit)]
            turned.append(b"".join(reversed(dots)))
        lines = turned
    size = f"{header['width']} {header['height']}\n"
    kind = {1: "P4\n" + size, 8: "P5\n" + size + "255\n", 24: "P6\n" + size + "255\n"}
    return kind[header["bits_per_pixel"]].encode() + b"".join(lines)


def main():
    what, file = sys.argv[1:3]
    with open(file, "rb") as opened:
        data = opened.read()
    if what == "count":
        print(sum(1 for _ in pages(data)))
    elif what == "tell":
        print(json.dumps([header for header, _ in pages(data)]))
    elif what == "pages":
        for number, (header, lines) in enumerate(pages(data), 1):
            with open(f"{sys.argv[3]}/page-{number}.pnm", "wb") as out:
                out.write(picture(header, lines))


main()
