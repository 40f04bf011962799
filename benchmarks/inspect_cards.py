#!/usr/bin/env python3
"""Measures `tympan inspect` on a file of 20 pages of cards with pictures at 300 dpi.

    python3 benchmarks/inspect_cards.py [--tool target/release/tympan] [--rounds 5] [--dpi 150]

Prints medians of the rounds, and the ratio to poppler drawing the same pages once at the resolution
at which inspection draws them. CPU time is user and system time; each run is a process of its own.
Budgets: under 3 s on two cores.
"""

import argparse
import os
import shutil
import statistics
import sys
import tempfile
from pathlib import Path

import correct
from correct import FOLDER, measured, referees

CARD, BLEED = (63.5, 88.9), 2.0


def twenty_pages(path):
    """Ten sheets of nine cards, fronts all different, backs one picture; 300 dpi JPEG."""
    sys.path.insert(0, str(correct.ROOT / "tests" / "inspect"))
    import art
    import paint
    import sheets
    from scene import Group, Picture, shift

    w, h = CARD[0] + 2 * BLEED, CARD[1] + 2 * BLEED
    rng = sheets.rng_of("benchmark")
    writer = paint.Reportlab(path)
    lattice = sheets.centred(sheets.A4, 3, 3, CARD, (2, 2))
    common = [Picture(-BLEED, -BLEED, w, h, art.marsh(rng, w, h, 300))]
    for _ in range(10):
        for side in ("front", "back"):
            items = sheets.marks("outer", lattice, BLEED, 0)[0]
            for _, column, row in lattice.cells():
                card = common if side == "back" else [
                    Picture(-BLEED, -BLEED, w, h, art.marsh(rng, w, h, 300))]
                clip = sheets.Rect(-1, -1, CARD[0] + 2, CARD[1] + 2)
                items.append(Group(card, shift(*lattice.corner(column, row)), clip))
            writer.page(sheets.A4, items)
    writer.finish()


def main():
    """Makes the file, races, reports."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--tool", type=Path, default=referees.TARGET / "release" / "tympan")
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--dpi", type=int, default=150, help="at which inspection draws pages")
    options = parser.parse_args()
    if not options.tool.exists():
        sys.exit(f"{options.tool} does not exist; build it with: cargo build --release")
    FOLDER.mkdir(parents=True, exist_ok=True)
    path = FOLDER / "cards.pdf"
    if not path.exists():
        print(f"making {path}", flush=True)
        draft = path.with_suffix(".draft")
        # In a child: a child's peak memory is never less than its parent's was at the fork.
        measured(lambda: twenty_pages(draft))
        draft.replace(path)
    referees.need_programs({"pdftoppm": "poppler-utils"})
    results = {"tympan": [], "poppler": []}
    with tempfile.TemporaryDirectory() as folder:
        field = {"tympan": [options.tool.resolve(), "inspect", path, "--json"],
                 "poppler": [shutil.which("pdftoppm"), "-r", options.dpi, path, f"{folder}/page"]}
        for _ in range(options.rounds):
            for name, command in field.items():
                results[name].append(measured(command))
    medians = {name: [statistics.median(column) for column in zip(*runs)]
               for name, runs in results.items()}
    print(f"cards.pdf, 20 pages, {path.stat().st_size / 1e6:.0f} MB, poppler at {options.dpi} dpi, "
          f"medians of {options.rounds}")
    print(f"{'':12} {'wall s':>8} {'CPU s':>8} {'peak MB':>8} {'CPU/poppler':>12}")
    for name, (wall, cpu, peak) in medians.items():
        print(f"{name:12} {wall:8.2f} {cpu:8.2f} {peak:8.0f} {cpu / medians['poppler'][1]:12.2f}")
    load = os.getloadavg()[0]
    print(f"load of the machine: {load:.1f} on {os.cpu_count()} processors")
    for name, seconds in (("wall time", medians["tympan"][0]),
                          ("CPU time by two cores", medians["tympan"][1] / 2)):
        word = "within" if seconds <= 3 else "OVER"
        print(f"  {word:6} {name}, s: {seconds:.2f}, at most 3")
    if load > 2:
        print("  the machine is busy: its wall times say little")


if __name__ == "__main__":
    referees.enter_venv()
    main()
