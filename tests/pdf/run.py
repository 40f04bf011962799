#!/usr/bin/env python3
"""The proof on real PDFs: corrects a corpus with Tympan and lets independent renderers judge it.

    python3 tests/pdf/run.py [--full] [--tool target/debug/tympan] [--only PART]

It installs its Python packages into the target folder; the programs it needs it names when they
are missing. `--full` makes every move on every file, every hostile file, and tries the referee on
every file first; without it a selection is made that takes a few minutes.
"""

import argparse
import os
import sys
import tempfile
from collections import Counter
from pathlib import Path

from bench import REFEREES, TARGET, enter_venv, need_programs

PROGRAMS = {
    "qpdf": "qpdf", "gs": "ghostscript", "pdftocairo": "poppler-utils", "chromium": "chromium",
    "pdflatex": "texlive-latex-base",
}


def arguments():
    """The command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--full", action="store_true", help="every file, move and damage")
    parser.add_argument("--tool", type=Path, default=TARGET / "debug" / "tympan",
                        help="the program under test, called as TOOL correct IN -o OUT ...")
    parser.add_argument("--only", choices=["referee", "corpus", "hostile"], action="append",
                        help="only these parts")
    parser.add_argument("--match", default="", help="only trials whose name holds this")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    return parser.parse_args()


def trials(options, work):
    """Every trial to make, as (function, arguments); each returns a list of (name, faults)."""
    import json

    import hostile
    import make_corpus
    import make_hostile
    import trials as made

    folder = made.made_once(REFEREES / "corpus", make_corpus.make)
    entries = {entry["file"]: entry
               for entry in json.loads((folder / "corpus.json").read_text())}
    parts = options.only or ["referee", "corpus", "hostile"]
    if "referee" in parts:
        models = list(entries) if options.full else made.QUICK_MODELS
        for mistake in made.CONTROLS:
            yield one, made.control_trial, (folder, work, mistake)
        for name in models:
            yield one, made.model_trial, (folder, work, entries[name])
    if "corpus" in parts:
        moves = list(made.MOVES) if options.full else ["usual", "shift"]
        for entry in entries.values():
            yield many, made.corpus_trials, (folder, work, entry, options.tool, moves)
    if "hostile" in parts:
        damaged = made.made_once(REFEREES / "hostile", make_hostile.make, folder)
        for batch in hostile.batches(damaged, options.full):
            yield many, hostile.trials, (batch, work, options.tool)


def one(function, values):
    """A trial with one result."""
    return [function(*values)]


def many(function, values):
    """A trial with several results."""
    return list(function(*values))


def main():
    """Runs the trials side by side and prints what failed."""
    from concurrent.futures import ProcessPoolExecutor

    options = arguments()
    options.tool = options.tool.resolve()
    passed = failed = 0
    outcomes = Counter()
    if not options.tool.exists() and options.only != ["referee"]:
        print(f"{options.tool} does not exist; build it with: cargo build")
        print("0 passed, 1 failed")
        return 1
    REFEREES.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=REFEREES) as work, \
            ProcessPoolExecutor(options.jobs) as pool:
        pending = [pool.submit(shape, function, values)
                   for shape, function, values in trials(options, Path(work))
                   if options.match in repr(values)]
        for future in pending:
            for name, faults in future.result():
                outcomes[name.partition(": ")[2] or name.partition(" (")[0]] += 1
                if faults:
                    failed += 1
                    print(f"FAILED {name}")
                    for fault in faults:
                        print(f"    {fault}", flush=True)
                else:
                    passed += 1
    for outcome, count in outcomes.most_common():
        if count > 1:
            print(f"{count:5} {outcome}")
    print(f"{passed} passed, {failed} failed")
    return 1 if failed or not passed else 0


if __name__ == "__main__":
    need_programs(PROGRAMS)
    enter_venv()
    sys.exit(main())
