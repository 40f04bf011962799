#!/usr/bin/env python3
"""The proof on imposed sheets: lays pages and pictures afresh, and lets other programs judge.

    python3 tests/impose/run.py [--full] [--tool target/debug/examples/impose] [--only PART]

Shares its Python packages and its corpus with tests/pdf, and names missing programs.
"""

import argparse
import os
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "pdf"))
from bench import REFEREES, TARGET, enter_venv, need_programs  # noqa: E402

PROGRAMS = {"qpdf": "qpdf", "gs": "ghostscript", "pdftocairo": "poppler-utils",
            "chromium": "chromium", "pdflatex": "texlive-latex-base"}
# Without --full: a file for each trait that a form made of a page might lose.
QUICK = ["reportlab_cards", "img2pdf_scans", "rotated", "boxes", "user_unit", "inherited", "forms",
         "layers", "patterns", "transparency", "annotations", "type3", "unbalanced",
         "pictures-user_password_aes128", "cairo_cards-owner_forbids_changes"]
PARTS = ["corpus", "register", "pictures", "bleed", "hostile"]


def arguments():
    """The command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--full", action="store_true", help="every file and every damage")
    parser.add_argument("--tool", type=Path, default=TARGET / "debug" / "examples" / "impose")
    parser.add_argument("--only", choices=PARTS, action="append", help="only these parts")
    parser.add_argument("--match", default="", help="only trials whose name holds this")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    return parser.parse_args()


def trials(options, work):
    """Every trial as (name, function, arguments); each returns a list of faults."""
    import json

    import bleed
    import hostile_pictures
    import make_corpus
    import pages
    import pictures
    import trials as made

    parts = options.only or PARTS
    if "corpus" in parts:
        folder = made.made_once(REFEREES / "corpus", make_corpus.make)
        entries = json.loads((folder / "corpus.json").read_text())
        for entry in entries:
            if options.full or Path(entry["file"]).stem in QUICK:
                yield entry["file"], pages.corpus, (folder, entry, options.tool, work)
    if "register" in parts:
        for flip in ["sideways", "endways"]:
            yield f"register {flip}", pages.register, (flip, options.tool, work)
    if "pictures" in parts:
        for name in pictures.SAMPLES:
            yield f"picture {name}", pictures.judge, (name, options.tool, work)
    if "bleed" in parts:
        for method in bleed.METHODS:
            yield f"bleed by {method}", bleed.judge, (method, options.tool, work)
    if "hostile" in parts:
        for kind in hostile_pictures.KINDS:
            yield (f"hostile {kind}", hostile_pictures.judge,
                   (kind, options.tool, work, options.full))


def guarded(function, values):
    """What a trial finds; anything that it raises is a fault."""
    import traceback
    try:
        return function(*values)
    except Exception as error:  # noqa: BLE001 - reported, and the trial fails
        return [f"{type(error).__name__}: {error}\n{traceback.format_exc(limit=-2)}"]


def main():
    """Runs the trials side by side and prints what failed."""
    from concurrent.futures import ProcessPoolExecutor

    options = arguments()
    options.tool = options.tool.resolve()
    if not options.tool.exists():
        print(f"{options.tool} does not exist; build it with: "
              "cargo build -p tympan-pdf --example impose")
        print("0 passed, 1 failed")
        return 1
    REFEREES.mkdir(parents=True, exist_ok=True)
    passed = failed = 0
    with tempfile.TemporaryDirectory(dir=REFEREES) as work, \
            ProcessPoolExecutor(options.jobs) as pool:
        pending = [(name, pool.submit(guarded, function, values))
                   for name, function, values in trials(options, Path(work))
                   if options.match in name]
        for name, future in pending:
            faults = future.result()
            passed, failed = passed + (not faults), failed + bool(faults)
            if faults:
                print(f"FAILED {name}")
                for fault in faults:
                    print(f"    {fault}", flush=True)
    print(f"{passed} passed, {failed} failed")
    return 1 if failed or not passed else 0


if __name__ == "__main__":
    need_programs(PROGRAMS)
    enter_venv()
    sys.exit(main())
