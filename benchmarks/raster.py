#!/usr/bin/env python3
"""Compares Tympan's PWG raster with general-purpose programs drawing the same pages.

    python3 benchmarks/raster.py [--example target/release/examples/raster] [--rounds 3]

The pages are A4: ten of a large picture each, and ten of vectors and words. Each is drawn at 600 dots
per inch in colour by Tympan (to PWG raster), by Ghostscript (device ppmraw, bands as it likes) and by
poppler (pdftoppm). Where the filters of CUPS are installed (cups-filters), `gstoraster` does the
whole of the same work: drawing and packing. Medians of the rounds; each run is a process of its own, its
start-up included; CPU is user and system time. A printer of 20 pages a minute needs a page in 3 s.
Budget: 250 MB of memory.

    cargo build --release -p tympan-press --example raster
"""

import argparse
import os
import shutil
import statistics
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PAGES = 10


def pdf(objects):
    """A PDF of these objects, the first of which is the catalogue."""
    out = bytearray(b"%PDF-1.4\n")
    places = []
    for number, body in enumerate(objects, 1):
        places.append(len(out))
        out += b"%d 0 obj\n" % number + body + b"\nendobj\n"
    start = len(out)
    out += b"xref\n0 %d\n0000000000 65535 f \n" % (len(objects) + 1)
    for place in places:
        out += b"%010d 00000 n \n" % place
    out += b"trailer << /Size %d /Root 1 0 R >>\nstartxref\n%d\n%%%%EOF\n" % (len(objects) + 1, start)
    return bytes(out)


def stream(head, data):
    return b"<< " + head + b" /Length %d >>\nstream\n" % len(data) + data + b"\nendstream"


def pages(contents, resources, more):
    """A PDF with a page for each content; `more` are objects from number 3 on."""
    first = 3 + len(more)
    kids = b" ".join(b"%d 0 R" % (first + 2 * n) for n in range(len(contents)))
    objects = [b"<< /Type /Catalog /Pages 2 0 R >>",
               b"<< /Type /Pages /Count %d /Kids [%s] >>" % (len(contents), kids), *more]
    for number, content in enumerate(contents):
        objects.append(b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 595.276 841.89] /Resources << %s >> "
                       b"/Contents %d 0 R >>" % (resources(number), first + 2 * number + 1))
        objects.append(stream(b"", content))
    return pdf(objects)


def pictures(path):
    """A photo-like picture of 300 dpi on each page, as JPEG made by poppler's and netpbm's peers: here
    by Ghostscript, so that nothing but the contestants' own tools is needed."""
    import random
    more = []
    for number in range(PAGES):
        reeds = random.Random(number)
        blobs = "".join(
            f"{reeds.random():.2f} {reeds.random():.2f} {reeds.random():.2f} setrgbcolor "
            f"{reeds.uniform(0, 595):.0f} {reeds.uniform(0, 842):.0f} {reeds.uniform(5, 60):.0f} "
            "0 360 arc fill\n" for _ in range(2000))
        jpeg = subprocess.run(
            ["gs", "-q", "-dNOPAUSE", "-dBATCH", "-sDEVICE=jpeg", "-dJPEGQ=90", "-r300",
             "-g2480x3508", "-dTextAlphaBits=4", "-dGraphicsAlphaBits=4", "-sOutputFile=-", "-"],
            input=(blobs + "showpage\n").encode(), check=True, capture_output=True).stdout
        more.append(stream(b"/Type /XObject /Subtype /Image /Width 2480 /Height 3508 /ColorSpace /DeviceRGB "
                           b"/BitsPerComponent 8 /Filter /DCTDecode", jpeg))
    contents = [b"q 595.276 0 0 841.89 0 0 cm /Im Do Q"] * PAGES
    path.write_bytes(pages(contents, lambda n: b"/XObject << /Im %d 0 R >>" % (3 + n), more))


def vectors(path):
    """600 curves and 200 words on each page."""
    import random
    contents = []
    for number in range(PAGES):
        reeds = random.Random(number)
        x = lambda: reeds.uniform(40, 550)  # noqa: E731
        y = lambda: reeds.uniform(40, 800)  # noqa: E731
        lines = []
        for _ in range(600):
            lines.append(f"{reeds.random():.2f} {reeds.random():.2f} 0.3 RG {x():.1f} {y():.1f} m "
                         f"{x():.1f} {y():.1f} {x():.1f} {y():.1f} {x():.1f} {y():.1f} c S")
        for word in range(200):
            lines.append(f"BT /F 9 Tf {x():.1f} {y():.1f} Td (ferry {word}) Tj ET")
        contents.append("\n".join(lines).encode())
    font = [b"<< /Type /Font /Subtype /Type1 /BaseFont /Helvetica >>"]
    path.write_bytes(pages(contents, lambda n: b"/Font << /F 3 0 R >>", font))


def run(command, env=None):
    """Wall time, CPU time and peak memory (MB) of a command whose output is thrown away."""
    start = time.monotonic()
    child = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                             env={**os.environ, **(env or {})})
    _, status, used = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode != 0:
        sys.exit(f"{command[0]} failed with status {child.returncode}")
    return time.monotonic() - start, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024


def contestants(example, file):
    yield "tympan, PWG raster", [example, str(file), "600", "colour"], None
    yield "ghostscript, ppmraw", [
        "gs", "-q", "-dNOPAUSE", "-dBATCH", "-dSAFER", "-sDEVICE=ppmraw", "-r600", "-dTextAlphaBits=4",
        "-dGraphicsAlphaBits=4", "-sOutputFile=/dev/null", str(file)], None
    yield "poppler, pdftoppm", ["pdftoppm", "-r", "600", str(file)], None
    filter_ = Path("/usr/lib/cups/filter/gstoraster")
    if filter_.exists():
        options = "PageSize=A4 Resolution=600dpi ColorModel=RGB"
        yield "cups-filters, gstoraster", [str(filter_), "1", "bench", "job", "1", options, str(file)], {
            "CONTENT_TYPE": "application/pdf", "FINAL_CONTENT_TYPE": "image/pwg-raster"}


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--example", default=str(ROOT / "target/release/examples/raster"))
    parser.add_argument("--rounds", type=int, default=3)
    args = parser.parse_args()
    if not Path(args.example).exists():
        sys.exit("build it first: cargo build --release -p tympan-press --example raster")
    for tool, package in (("gs", "ghostscript"), ("pdftoppm", "poppler-utils")):
        if not shutil.which(tool):
            sys.exit(f"{tool} is missing: apt-get install -y {package}")
    folder = ROOT / "target" / "benchmark-files"
    folder.mkdir(parents=True, exist_ok=True)
    for name, make in (("pictures", pictures), ("vectors", vectors)):
        file = folder / f"raster-{name}.pdf"
        if not file.exists():
            make(file)
        print(f"\n{name}, {PAGES} A4 pages at 600 dpi in colour")
        print(f"{'':26}{'s/page':>8}{'CPU/page':>10}{'pages/min':>11}{'MB':>7}{'CPU ratio':>11}")
        times = {}
        for _ in range(args.rounds):
            for who, command, env in contestants(args.example, file):
                times.setdefault(who, []).append(run(command, env))
        own = None
        for who, rounds in times.items():
            wall, cpu, memory = (statistics.median(column) for column in zip(*rounds))
            own = own or cpu
            print(f"{who:26}{wall / PAGES:8.2f}{cpu / PAGES:10.2f}{60 * PAGES / wall:11.0f}{memory:7.0f}"
                  f"{own / cpu:11.2f}")


main()
