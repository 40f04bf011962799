"""Pictures made to do harm, and broken ones: refused with a reason, within 512 MB of address space
and 10 s of CPU time, whatever they claim."""

import io
import json
import struct
import zlib

import numpy
from PIL import Image

import formats


def png(width, height, data=b"", depth=1, colour=0):
    """A PNG with this header and this packed data (PNG, 11.2)."""
    def chunk(kind, body):
        return (struct.pack(">I", len(body)) + kind + body
                + struct.pack(">I", zlib.crc32(kind + body)))
    head = struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0)
    return (b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", data)
            + chunk(b"IEND", b""))


def packed_zeros(count):
    """So many zeros, deflated piece by piece."""
    packer, parts = zlib.compressobj(9), []
    block = bytes(1 << 20)
    for _ in range(count >> 20):
        parts.append(packer.compress(block))
    parts.append(packer.compress(bytes(count & 0xfffff)))
    return b"".join(parts) + packer.flush()


def tiff(width, height, **more):
    """A TIFF with one strip of eight bytes that claims this size (TIFF 6.0, section 3)."""
    tags = {256: width, 257: height, 258: 8, 259: 1, 262: 1, 273: 8, 277: 1, 278: height,
            279: 8, **more}
    entries = b"".join(struct.pack("<HHII", tag, 4, 1, value)
                       for tag, value in sorted(tags.items()))
    return (b"II*\0" + struct.pack("<I", 16) + bytes(8) + struct.pack("<H", len(tags)) + entries
            + bytes(4))


def jpeg_claiming(width, height):
    """A small JPEG whose frame header claims another size (ITU-T T.81, B.2.2)."""
    data = io.BytesIO()
    Image.new("L", (64, 64), 200).save(data, "JPEG")
    data = bytearray(data.getvalue())
    frame = data.index(b"\xff\xc0")
    data[frame + 5:frame + 9] = struct.pack(">HH", height, width)
    return bytes(data)


def webp_claiming(width, height):
    """An extended WebP whose canvas is larger than its picture."""
    data = io.BytesIO()
    Image.new("RGB", (64, 64), (200, 200, 200)).save(data, "WEBP", lossless=True)
    body = data.getvalue()[12:]
    canvas = struct.pack("<I", width - 1)[:3] + struct.pack("<I", height - 1)[:3]
    extended = b"VP8X" + struct.pack("<I", 10) + bytes(4) + canvas
    inner = b"WEBP" + extended + body
    return b"RIFF" + struct.pack("<I", len(inner)) + inner


def huge_pdf():
    """A PDF whose page is 60 m wide."""
    data = io.BytesIO()
    Image.new("L", (64, 64), 200).save(data, "PDF", resolution=0.027)
    return data.getvalue()


HOSTILE = {
    "PNG of 60,000 × 60,000": (".png", lambda: png(60_000, 60_000, packed_zeros(1000))),
    "PNG bomb, 20,000 × 20,000": (".png", lambda: png(20_000, 20_000,
                                                      packed_zeros(20_000 * 20_001), 8)),
    "PNG bomb within the size limit": (".png", lambda: png(13_000, 13_000,
                                                           packed_zeros(13_000 * 13_001), 8)),
    "PNG of no pixels": (".png", lambda: png(0, 0)),
    "JPEG of 60,000 × 60,000": (".jpg", lambda: jpeg_claiming(60_000, 60_000)),
    "JPEG of 14,000 × 14,000 without its data": (".jpg", lambda: jpeg_claiming(14_000, 14_000)),
    "TIFF of 60,000 × 60,000": (".tif", lambda: tiff(60_000, 60_000)),
    "TIFF of 14,000 × 14,000 without its data": (".tif", lambda: tiff(14_000, 14_000)),
    "TIFF of 4 billion × 4 billion": (".tif", lambda: tiff(2**32 - 1, 2**32 - 1)),
    "WebP of 16,000 × 16,000": (".webp", lambda: webp_claiming(16_000, 16_000)),
    "PDF with a page of 60 m": (".pdf", huge_pdf),
}


def said(outcome):
    """(fault, codes) of a run."""
    if outcome.breach:
        return f"{outcome.breach}: {outcome.output[-300:]}", []
    try:
        told = json.loads(outcome.output)
    except ValueError:
        return f"no JSON: {outcome.output[-300:]}", []
    if "refused" in told and isinstance(told["refused"], dict):
        return None, [told["refused"]["message"]]
    return None, [r["refused"]["code"] for r in told["refused"]]


def trials(program, folder):
    """(name, faults, what was measured) of every trial."""
    scans = formats.Formats(program, folder / "hostile")
    tympan = scans.tympan
    for number, (name, (suffix, make)) in enumerate(HOSTILE.items()):
        file = tympan.folder / f"hostile-{number}{suffix}"
        file.write_bytes(make())
        outcome = tympan.read_limited(file)
        fault, codes = said(outcome)
        faults = [fault] if fault else []
        if not fault and (outcome.code != 1 or not codes):
            faults.append(f"exit {outcome.code}, refused with {codes}")
        if outcome.seconds > 30:
            faults.append(f"took {outcome.seconds:.0f} s")
        yield name, faults, f"{', '.join(codes)}"
    yield from broken(scans)


def broken(scans):
    """Files that break off, and files with bytes that changed on the way."""
    dice = numpy.random.default_rng(7)
    whole = {}
    for suffix, kind in ((".png", "PNG"), (".jpg", "JPEG"), (".tif", "TIFF"), (".webp", "WEBP"),
                         (".pdf", "PDF")):
        data = io.BytesIO()
        Image.fromarray(scans.scans[0][::2, ::2]).save(data, kind)
        whole[suffix] = data.getvalue()
    for suffix, data in whole.items():
        faults, codes = [], set()
        for share in (0.0001, 0.01, 0.3, 0.7, 0.98):
            faults += attempt(scans.tympan, suffix, data[:int(len(data) * share)], codes)
        for _ in range(3):
            harmed = bytearray(data)
            for place in dice.integers(0, min(len(data), 4000), 12):
                harmed[place] = dice.integers(0, 256)
            faults += attempt(scans.tympan, suffix, bytes(harmed), codes)
        yield f"broken {suffix[1:].upper()}", faults, ", ".join(sorted(codes))


def attempt(tympan, suffix, data, codes):
    """Faults of reading one broken file alone: it can never give a reading."""
    file = tympan.folder / f"broken{suffix}"
    file.write_bytes(data)
    outcome = tympan.read_limited(file)
    fault, found = said(outcome)
    codes.update(found)
    if fault:
        return [fault]
    return [] if outcome.code == 1 and found else [f"exit {outcome.code}: {outcome.output[-200:]}"]
