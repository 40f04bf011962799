#!/usr/bin/env python3
"""Times a whole print run against a general-purpose library that corrects the same file.

    python3 benchmarks/run.py [--tool target/release/tympan] [--rounds 5] [--sheets 200] [--megabytes 300]

One job is made once: so many sheets, fronts and backs by turns, each page one JPEG picture.
`tympan run` makes it for a set-up with a reading: both passes in one load, backs corrected, sheet
numbers in the waste of every page, the make-ready sheet and the job sheet. The library corrects the
backs of the same file into one file, with no numbers (`with_pikepdf.py`). Each round runs everybody
in turn, each in a process of its own, its start-up included; the table shows medians. CPU time is
user and system time. Budgets: those for correcting a file of that size.
"""

import argparse
import json
import os
import shutil
import statistics
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "tests" / "pdf"))
sys.path.insert(0, str(ROOT / "benchmarks"))
import bench as referees  # noqa: E402 - shares its Python with the referees
from correct import MATRIX, measured, noisy_image, synced_copy  # noqa: E402

FOLDER = referees.TARGET / "benchmark-files"
SETUP = "bench"
# The bytes of a pixel of noise as a JPEG of this quality, from looking at some.
BYTES_A_PIXEL = 1.475


def job(path, sheets, megabytes):
    """A4 sheets, a JPEG of noise on each side, together about so many MB."""
    import pikepdf

    pixels = megabytes * 1e6 / (2 * sheets) / BYTES_A_PIXEL
    width = round((pixels / 1.4) ** 0.5)
    height = round(1.4 * width)
    pdf = pikepdf.new()
    for number in range(2 * sheets):
        image = noisy_image(pdf, number, (width, height))
        page = pdf.add_blank_page(page_size=(595.276, 841.89))
        page.obj.Resources = pikepdf.Dictionary(XObject=pikepdf.Dictionary(Im=image))
        # 20 mm of waste at the head, so that there is room for the numbers.
        page.obj.Contents = pdf.make_stream(b"q 538.6 0 0 756.9 28.3 28.3 cm /Im Do Q")
    pdf.save(path, compress_streams=False)


def with_reading(tool, data):
    """A data folder with a set-up that was read once, so that its backs are corrected."""
    shutil.rmtree(data, ignore_errors=True)

    def tympan(*args):
        subprocess.run([tool, "--data", data, *args], check=True, stdout=subprocess.DEVNULL)

    tympan("setup", "new", SETUP, "--paper", "a4", "--flip", "sideways")
    tympan("setup", "teach", SETUP, "--on-top-sheet", "1", "--took", "pencilled",
           "--at-arrow", "head", "--uppermost", "1", "--faces", "up")
    tympan("read", "--setup", SETUP, "--ruler", "2.1mm low, 0.4mm left")


def passes(out, sheets):
    """The two files of the passes, looked at: a contestant that does half of the work is out."""
    import pikepdf

    files = sorted(path for path in out.glob("0[12]-*.pdf"))
    pages = []
    for file in files:
        with pikepdf.open(file) as pdf:
            pages.append(len(pdf.pages))
    if pages != [sheets, sheets]:
        sys.exit(f"not two passes of {sheets} pages: {[f.name for f in files]}, {pages}")
    return sum(file.stat().st_size for file in files)


def race(source, tool, sheets, rounds):
    """Runs everybody in turn, `rounds` times; returns {name: medians} and the passes' bytes."""
    here = Path(__file__).resolve().parent
    data, out = FOLDER / "run-data", FOLDER / "run-out"
    target = source.with_name(f"corrected-{source.name}")
    with_reading(tool, data)
    field = {
        "synced copy": lambda: synced_copy(source, target),
        "tympan run": [tool, "--data", data, "run", source, "--setup", SETUP, "-o", out,
                       "--load", str(sheets)],
        "pikepdf": [sys.executable, here / "with_pikepdf.py", source, target, *MATRIX],
    }
    results = {name: [] for name in field}
    written = 0
    for _ in range(rounds):
        for name, command in field.items():
            target.unlink(missing_ok=True)
            shutil.rmtree(out, ignore_errors=True)
            results[name].append(measured(command))
            if name == "tympan run":
                written = passes(out, sheets)
    target.unlink(missing_ok=True)
    for folder in (data, out):
        shutil.rmtree(folder, ignore_errors=True)
    medians = {name: [statistics.median(column) for column in zip(*runs)]
               for name, runs in results.items()}
    return medians, written


def report(results, large):
    """Prints the table and the budgets."""
    copy, pike, ours = (results[name] for name in ("synced copy", "pikepdf", "tympan run"))
    print(f"{'':12} {'wall s':>8} {'CPU s':>8} {'peak MB':>8} {'wall/copy':>10} {'CPU/pikepdf':>12}")
    for name, (wall, cpu, peak) in results.items():
        print(f"{name:12} {wall:8.2f} {cpu:8.2f} {peak:8.0f} {wall / copy[0]:10.2f} "
              f"{cpu / pike[1]:12.2f}")
    for budget, value, limit in [
            ("CPU against pikepdf", ours[1] / pike[1], 1.2),
            ("wall time against a synced copy", ours[0] / copy[0], 5),
            ("peak memory, MB", ours[2], 64)]:
        if not large:
            continue  # start-up is most of it
        word = "within" if value <= limit else "OVER"
        print(f"  {word:6} {budget}: {value:.2f}, at most {limit}")
    print(json.dumps({name: {"wall_s": wall, "cpu_s": cpu, "peak_mb": peak}
                      for name, (wall, cpu, peak) in results.items()}))


def main():
    """Makes the job, races, reports."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--tool", type=Path, default=referees.TARGET / "release" / "tympan")
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--sheets", type=int, default=200)
    parser.add_argument("--megabytes", type=float, default=300)
    options = parser.parse_args()
    if not options.tool.exists():
        sys.exit(f"{options.tool} does not exist; build it with: cargo build --release")
    FOLDER.mkdir(parents=True, exist_ok=True)
    path = FOLDER / f"run-{options.sheets}-{options.megabytes:g}.pdf"
    if not path.exists():
        print(f"making {path}", flush=True)
        draft = path.with_suffix(".draft")
        # In a child: a child's peak memory is never less than its parent's was at the fork.
        measured(lambda: job(draft, options.sheets, options.megabytes))
        draft.replace(path)
    size = path.stat().st_size / 1e6
    load = ", ".join(f"{value:.1f}" for value in os.getloadavg())
    print(f"{path.name}: {options.sheets} sheets, {size:.0f} MB, medians of {options.rounds}; "
          f"load before {load}")
    results, written = race(path, options.tool.resolve(), options.sheets, options.rounds)
    print(f"both passes: {written / 1e6:.0f} MB")
    report(results, large=size > 100)


if __name__ == "__main__":
    referees.enter_venv()
    main()
