#!/usr/bin/env python3
"""Compares `tympan correct` with general-purpose libraries doing the same work.

    python3 benchmarks/correct.py [--tool target/release/tympan] [--rounds 5]

Two files are made once: 200 pages of large pictures (about 350 MB) and 500 pages of vectors. Each
round corrects the even pages with every contestant in turn; the table shows medians of the rounds
as ratios to a copy of the file that was synced to the disk. Each run is a process of its own, its
start-up included; CPU time is user and system time. Budgets: design of the project, section 9.
"""

import argparse
import io
import os
import statistics
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "tests" / "pdf"))
import bench as referees  # noqa: E402 - shares its Python with the referees

FOLDER = referees.TARGET / "benchmark-files"
MATRIX = ("0.999", "0.0035", "-0.0035", "1.001", "2.1", "5.2")


def noise(number, size):
    """A JPEG of noise, so many pixels wide and high."""
    import numpy
    from PIL import Image

    pixels = numpy.random.default_rng(number).integers(0, 256, (size[1], size[0], 3), numpy.uint8)
    data = io.BytesIO()
    Image.fromarray(pixels).save(data, "JPEG", quality=82, subsampling=0)
    return data.getvalue()


def noisy_image(pdf, number, size):
    """The same as an image of a PDF."""
    import pikepdf

    return pdf.make_indirect(pikepdf.Stream(pdf, noise(number, size), pikepdf.Dictionary(
        Type=pikepdf.Name.XObject, Subtype=pikepdf.Name.Image, Width=size[0], Height=size[1],
        ColorSpace=pikepdf.Name.DeviceRGB, BitsPerComponent=8, Filter=pikepdf.Name.DCTDecode)))


def big_pictures(path):
    """200 A4 pages, each one JPEG of noise of about 1.75 MB."""
    import pikepdf

    pdf = pikepdf.new()
    for number in range(200):
        image = noisy_image(pdf, number, (920, 1290))
        page = pdf.add_blank_page(page_size=(595, 842))
        page.obj.Resources = pikepdf.Dictionary(XObject=pikepdf.Dictionary(Im=image))
        page.obj.Contents = pdf.make_stream(b"q 595 0 0 842 0 0 cm /Im Do Q")
    pdf.save(path, compress_streams=False)


def many_vectors(path):
    """500 A4 pages of some 600 curves and words each."""
    import random

    from reportlab.pdfgen import canvas

    sheet = canvas.Canvas(str(path), pagesize=(595, 842), pageCompression=1, invariant=1)
    for number in range(500):
        reeds = random.Random(number)
        for _ in range(600):
            x, y = reeds.uniform(40, 550), reeds.uniform(40, 800)
            sheet.setStrokeColorRGB(reeds.random(), reeds.random(), 0.3)
            sheet.bezier(x, y, x + 9, y + 30, x - 9, y + 60, x + reeds.uniform(-20, 20), y + 90)
        sheet.setFont("Times-Roman", 11)
        for line in range(40):
            sheet.drawString(60, 780 - 18 * line, f"Saltmarsh Ferry, sheet {number}, fare {line}")
        sheet.showPage()
    sheet.save()


def synced_copy(source, target):
    """Copies the file and waits for the disk."""
    with open(source, "rb") as old, open(target, "wb") as new:
        while block := old.read(1 << 20):
            new.write(block)
        new.flush()
        os.fsync(new.fileno())


def measured(command):
    """(wall seconds, CPU seconds, peak MB) of a command, or of a function in a child."""
    os.sync()
    start = time.monotonic()
    child = os.fork()
    if child == 0:
        try:
            if callable(command):
                command()
                os._exit(0)
            os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
            os.execv(command[0], [str(part) for part in command])
        finally:
            os._exit(127)
    _, status, usage = os.wait4(child, 0)
    wall = time.monotonic() - start
    if status:
        sys.exit(f"failed with status {status}: {command}")
    return wall, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024


def contestants(source, tool):
    """Name and command of each; the output goes beside the source."""
    here = Path(__file__).resolve().parent
    target = source.with_name(f"corrected-{source.name}")
    return target, {
        "synced copy": lambda: synced_copy(source, target),
        "tympan": [tool, "correct", source, "-o", target, "--move", "0.4mm right, 2.1mm up",
                   "--tilt", "0.2", "--stretch", "0.1%,-0.1%", "--backs", "even"],
        "pikepdf": [sys.executable, here / "with_pikepdf.py", source, target, *MATRIX],
        "pypdf": [sys.executable, here / "with_pypdf.py", source, target, *MATRIX],
    }


def race(source, tool, rounds):
    """Runs everybody in turn, `rounds` times; returns {name: medians}."""
    target, field = contestants(source, tool)
    results = {name: [] for name in field}
    for _ in range(rounds):
        for name, command in field.items():
            target.unlink(missing_ok=True)
            results[name].append(measured(command))
    target.unlink(missing_ok=True)
    return {name: [statistics.median(column) for column in zip(*runs)]
            for name, runs in results.items()}


def report(title, results, large):
    """Prints the table and the budgets."""
    copy, pike, pure, ours = (results[name] for name in
                              ("synced copy", "pikepdf", "pypdf", "tympan"))
    print(f"\n{title}")
    print(f"{'':12} {'wall s':>8} {'CPU s':>8} {'peak MB':>8} {'wall/copy':>10} "
          f"{'CPU/pikepdf':>12} {'CPU/pypdf':>10}")
    for name, (wall, cpu, peak) in results.items():
        print(f"{name:12} {wall:8.2f} {cpu:8.2f} {peak:8.0f} {wall / copy[0]:10.2f} "
              f"{cpu / pike[1]:12.2f} {cpu / pure[1]:10.2f}")
    for budget, value, limit in [
            ("CPU against pikepdf", ours[1] / pike[1], 1.2),
            ("CPU against pypdf", ours[1] / pure[1], 0.5),
            ("wall time against a synced copy", ours[0] / copy[0], 5),
            ("peak memory, MB", ours[2], 64)]:
        if budget.startswith("wall") and not large:
            continue  # the copy of a small file costs next to nothing
        word = "within" if value <= limit else "OVER"
        print(f"  {word:6} {budget}: {value:.2f}, at most {limit}")


def main():
    """Makes the files, races, reports."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--tool", type=Path, default=referees.TARGET / "release" / "tympan")
    parser.add_argument("--rounds", type=int, default=5)
    options = parser.parse_args()
    if not options.tool.exists():
        sys.exit(f"{options.tool} does not exist; build it with: cargo build --release")
    FOLDER.mkdir(parents=True, exist_ok=True)
    for name, recipe in (("pictures.pdf", big_pictures), ("vectors.pdf", many_vectors)):
        path = FOLDER / name
        if not path.exists():
            print(f"making {path}", flush=True)
            draft = path.with_suffix(".draft")
            # In a child: a child's peak memory is never less than its parent's was at the fork.
            measured(lambda: recipe(draft))
            draft.replace(path)
        size = path.stat().st_size / 1e6
        report(f"{name}, {size:.0f} MB, medians of {options.rounds}",
               race(path, options.tool.resolve(), options.rounds), large=size > 100)


if __name__ == "__main__":
    referees.enter_venv()
    main()
