#!/usr/bin/env python3
"""Compares laying cards afresh with a script on a general-purpose library doing the same placement.

    cargo build --release -p tympan-pdf --example impose
    python3 benchmarks/impose.py [--tool target/release/examples/impose] [--rounds 3] [--gigabytes 1]

Two jobs: 54 cards from one PDF of 30 MB, and 1,000 JPEG pictures of cards, 9 to a sheet. Each run
is a process of its own, its start-up included. The table shows medians as ratios to a copy of the
same bytes that was synced to the disk.
"""

import argparse
import os
import statistics
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "tests" / "pdf"))
sys.path.insert(0, str(ROOT / "benchmarks"))
import bench as referees  # noqa: E402 - shares its Python with the referees
from correct import measured, noise, noisy_image, synced_copy  # noqa: E402

FOLDER = referees.TARGET / "benchmark-files"
CARD, PAPER = (63.0, 88.0), (210.0, 297.0)


def sheets_of_cards(path):
    """Six A4 pages with nine cards each, together about 30 MB of pictures."""
    import pikepdf

    pdf = pikepdf.new()
    unit = 72 / 25.4
    for number in range(6):
        page = pdf.add_blank_page(page_size=(PAPER[0] * unit, PAPER[1] * unit))
        images, content = {}, ""
        for index, (x, y) in enumerate(places()):
            images[f"/Im{index}"] = noisy_image(pdf, 9 * number + index, (480, 670))
            left, low = x * unit, (PAPER[1] - y - CARD[1]) * unit
            content += (f"q {CARD[0] * unit} 0 0 {CARD[1] * unit} {left} {low} cm "
                        f"/Im{index} Do Q\n")
        page.obj.Resources = pikepdf.Dictionary(XObject=pikepdf.Dictionary(images))
        page.obj.Contents = pdf.make_stream(content.encode())
    pdf.save(path, compress_streams=False)


def places():
    """The corners of nine cards on A4, mm."""
    return [(7 + 66 * c, 12 + 92 * r) for r in range(3) for c in range(3)]


def cards_job(source):
    """Lists 54 cells of a file, each moved a little."""
    lines = []
    for page in range(1, 7):
        lines.append(f"page {PAPER[0]} {PAPER[1]}")
        for x, y in places():
            lines.append(f"place {source} {page} {x} {y} {CARD[0]} {CARD[1]} 0 "
                         f"0.9999 -0.002 0.002 1.0001 {x + 1} {y + 2} {CARD[0]} {CARD[1]} 1.5 "
                         "mirror")
    return lines


def pictures_job(files):
    """Lists pictures, nine to a sheet."""
    lines = []
    for index, file in enumerate(files):
        if index % 9 == 0:
            lines.append(f"page {PAPER[0]} {PAPER[1]}")
        x, y = places()[index % 9]
        lines.append(f"place {file} 1 - - - - 0 0.9999 -0.002 0.002 1.0001 {x} {y} "
                     f"{CARD[0]} {CARD[1]} 1.5 keep")
    return lines


def race(title, tool, job, script, sources, rounds):
    """Runs everybody in turn and prints the table."""
    target = FOLDER / "laid.pdf"
    list_file = FOLDER / "job.txt"
    list_file.write_text("\n".join(job) + "\n")

    def copy():
        for source in sources:
            synced_copy(source, target) if len(sources) == 1 else None
        if len(sources) > 1:
            with open(target, "wb") as new:
                for source in sources:
                    new.write(Path(source).read_bytes())
                new.flush()
                os.fsync(new.fileno())

    field = {"synced copy": copy, "tympan": [tool, list_file, target],
             "pikepdf": [sys.executable, ROOT / "benchmarks" / "impose_with_pikepdf.py", script,
                         list_file, target]}
    results = {name: [] for name in field}
    for _ in range(rounds):
        for name, command in field.items():
            target.unlink(missing_ok=True)
            results[name].append(measured(command))
            size = target.stat().st_size
    target.unlink(missing_ok=True)
    medians = {name: [statistics.median(column) for column in zip(*runs)]
               for name, runs in results.items()}
    print(f"\n{title} ({size / 1e6:.0f} MB)")
    print(f"{'':12} {'wall s':>8} {'CPU s':>8} {'peak MB':>8} {'wall/copy':>10} {'CPU/pikepdf':>12}")
    for name, (wall, cpu, peak) in medians.items():
        print(f"{name:12} {wall:8.2f} {cpu:8.2f} {peak:8.0f} "
              f"{wall / medians['synced copy'][0]:10.2f} {cpu / medians['pikepdf'][1]:12.2f}")
    return medians["tympan"]


def main():
    """Makes the files, races, and holds the results against the budgets."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--tool", type=Path,
                        default=referees.TARGET / "release" / "examples" / "impose")
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--gigabytes", type=float, default=1.0)
    options = parser.parse_args()
    options.tool = options.tool.resolve()
    FOLDER.mkdir(parents=True, exist_ok=True)
    cards = FOLDER / "cards-30mb.pdf"
    if not cards.exists():
        sheets_of_cards(cards)
    wall, _, peak = race("54 cards from one PDF", options.tool, cards_job(cards), "cells", [cards],
                         options.rounds)
    over = wall > 1.0 or peak > 256
    pictures = FOLDER / "pictures"
    pictures.mkdir(exist_ok=True)
    # A comment of its own makes each picture another one; noise is slow to make.
    base = noise(0, (750, 1050))
    count = int(options.gigabytes * 1e9 / len(base))
    files = []
    for number in range(count):
        file = pictures / f"card-{number:04}.jpg"
        if not file.exists():
            words = f"card {number:04}".encode()
            comment = b"\xff\xfe" + (len(words) + 2).to_bytes(2, "big") + words
            file.write_bytes(base[:2] + comment + base[2:])
        files.append(file)
    wall, _, peak = race(f"{count} pictures", options.tool, pictures_job(files), "pictures", files,
                         options.rounds)
    over = over or wall > 10 * options.gigabytes or peak > 256
    print("\nover budget" if over else "\nwithin the budgets")
    return 1 if over else 0


if __name__ == "__main__":
    referees.enter_venv()
    sys.exit(main())
