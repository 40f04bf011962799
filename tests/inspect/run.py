#!/usr/bin/env python3
"""The proof of `tympan inspect`: files of cards with known truth, made by other libraries.

    python3 tests/inspect/run.py [--all] [--tool target/debug/tympan] [--only PART] [--match NAME]
                                   [--from SEED]

Without `--all` a selection of the cases is tried. It ends with `N passed, N failed`, and fails when
a threshold of the project is missed (`THRESHOLDS`) or a referee disagrees.
"""

import argparse
import hashlib
import json
import os
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(1, str(HERE.parent / "pdf"))
import bench  # noqa: E402 - tests/pdf

PROGRAMS = {"gs": "ghostscript", "pdftocairo": "poppler-utils", "pdfimages": "poppler-utils",
            "chromium": "chromium", "pdflatex": "texlive-latex-base"}
# judgement: the least share that must be right
THRESHOLDS = {"role": 0.98, "pair": 0.98, "flip": 0.98, "grid": 0.95, "pitch": 0.95, "trim": 0.95,
              "origin": 0.95, "bleed": 0.95, "radius": 0.95, "error": 0.95, "honest": 0.9,
              "standing": 0.98, "agrees": 1.0, "none invented": 1.0, "answered": 1.0}
SECONDS = 120
PARTS = ["controls", "signs", "cards", "faults", "marks"]


def arguments():
    """The command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--all", action="store_true", help="every case")
    parser.add_argument("--tool", type=Path, default=bench.TARGET / "debug" / "tympan",
                        help="the program under test, called as TOOL inspect FILE --json")
    parser.add_argument("--only", choices=PARTS, action="append",
                        help="only these parts")
    parser.add_argument("--from", dest="start", type=int, default=0, metavar="SEED",
                        help="count seeds from here: files that nobody has seen before")
    parser.add_argument("--match", default="", help="only cases whose name holds this")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    return parser.parse_args()


def folder():
    """Where the cases are kept; another one when the programs that make them change."""
    made_by = ["scene", "paint", "art", "sheets", "deck", "cardless", "desk", "kinds",
               "produce", "webpage"]
    programs = b"".join((HERE / f"{name}.py").read_bytes() for name in made_by)
    place = bench.REFEREES / f"inspect-{hashlib.sha256(programs).hexdigest()[:12]}"
    place.mkdir(parents=True, exist_ok=True)
    return place


def inspect(tool, path, *more):
    """(seconds, answer, what went wrong) of one run of the tool."""
    start = time.monotonic()
    try:
        done = subprocess.run([str(tool), "inspect", str(path), *map(str, more), "--json"],
                              capture_output=True, timeout=SECONDS)
    except subprocess.TimeoutExpired:
        return SECONDS, None, f"still running after {SECONDS} s"
    seconds = time.monotonic() - start
    words = (done.stderr or done.stdout).decode(errors="replace").strip()[-300:]
    if done.returncode or b"panicked" in done.stderr:
        return seconds, None, f"exit code {done.returncode}: {words}"
    try:
        return seconds, json.loads(done.stdout), None
    except ValueError as error:
        return seconds, None, f"no JSON: {error}"


def try_case(tool, kind, seed):
    """Makes a case, asks the tool, and judges. Returns (kind, name, seconds, score)."""
    import produce

    place = folder()
    truth = produce.case(kind, seed, place)
    path = place / truth["file"]
    more = ["--back-file", place / truth["back_file"]] if truth["back_file"] else []
    return judged(kind, f"{kind}-{seed:03}", truth, *inspect(tool, path, *more))


def judged(kind, name, truth, seconds, answer, wrong):
    """The score of one answer."""
    import judge

    score = judge.Score()
    score.note("answered", answer, wrong)
    try:
        if answer:
            score.add_all(judge.judge(truth, answer))
    except (KeyError, TypeError, ValueError) as error:
        score.note("answered", False, f"not the contract's form: {type(error).__name__} {error}")
    return kind, name, seconds, score


def try_demo(tool, place, name):
    """One file of the demo game. Returns (kind, name, seconds, score)."""
    import demo

    return judged("demo", name, demo.truth(name), *inspect(tool, place / "demo" / name))


def try_office(tool):
    """The file of the office suite. Returns (kind, name, seconds, score)."""
    import office

    return judged("office", office.NAME, office.truth(),
                  *inspect(tool, office.FOLDER / office.NAME))


def try_model(kind, seed):
    """The judge must find no fault with a faultless answer. Returns the faults."""
    import judge
    import produce

    truth = produce.case(kind, seed, folder())
    return [f"{kind}-{seed:03}: {remark}"
            for remark in judge.judge(truth, judge.model(truth)).remarks]


def try_mistake(number):
    """The judge must find the mistake. Returns the faults."""
    import controls
    import produce

    mistake, (case, wanted) = list(controls.MISTAKES.items())[number]
    return controls.missed(produce.case(*case, folder()), mistake, wanted)


def try_sign(name):
    """The truth must agree with pictures of the pages. Returns the faults."""
    import signs

    with tempfile.TemporaryDirectory(dir=bench.REFEREES) as place:
        return [f"{name}: {fault}" for fault in signs.prove(name, place)]


def try_fault(tool, name):
    """A file with one fault, a clean one, or a case whose figures are checked. Returns faults."""
    import faults
    import seeded

    def ask(path):
        _, answer, wrong = inspect(tool, path)
        return answer, wrong

    if isinstance(name, tuple):
        return faults.figures_trial(ask, *name, folder())
    with tempfile.TemporaryDirectory(dir=bench.REFEREES) as place:
        return faults.seeded_trial(ask, getattr(seeded, name), place)


def try_marks(tool, seed):
    """A file with its marks right, and with them off. Returns faults."""
    import marks

    def ask(path):
        _, answer, wrong = inspect(tool, path)
        return answer, wrong

    with tempfile.TemporaryDirectory(dir=bench.REFEREES) as place:
        return marks.prove(ask, seed, place)


def report(results):
    """Prints the table and the failing cases; returns the judgements that miss their threshold."""
    import judge

    kinds, whole = {}, judge.Score()
    for kind, _, seconds, score in results:
        table, spent = kinds.setdefault(kind, (judge.Score(), []))
        table.add(score)
        spent.append(seconds)
        whole.add(score)
    names = [name for name in THRESHOLDS if name in whole.counts]
    print(f"\n{'kind':12}{'files':>6}{'s each':>8} " + "".join(f"{name:>15}" for name in names))
    rows = [*kinds.items(), ("all", (whole, [r[2] for r in results]))]
    for kind, (score, spent) in rows:
        cells = "".join(f"{'{}/{}'.format(*score.counts[n]) if n in score.counts else '-':>15}"
                        for n in names)
        print(f"{kind:12}{len(spent):6}{sum(spent) / len(spent):8.2f} {cells}")
    print("worst, mm: " + ", ".join(f"{k} {v:.3f}" for k, v in sorted(whole.worst.items())))
    for _, name, _, score in results:
        for remark in score.remarks:
            print(f"  {name}: {remark}")
    missed = []
    # Pages that are one picture are few, and must hold by themselves.
    flat = judge.Score()
    for kind, (score, _) in kinds.items():
        if kind.startswith("flat"):
            flat.add(score)
    for what, score in (("", whole), ("flat pages, ", flat)):
        for name in names:
            right, total = score.counts.get(name, (0, 0))
            if right < THRESHOLDS[name] * total:
                missed.append(f"{what}{name}: {right} of {total} right, at least "
                              f"{100 * THRESHOLDS[name]:.0f} % wanted")
    return missed


def main():
    """Runs everything and prints what failed."""
    import controls
    import demo
    import faults as seeds
    import kinds
    import marks
    import seeded
    import signs

    options = arguments()
    parts = options.only or PARTS
    if not options.tool.exists() and {"cards", "faults", "marks"} & set(parts):
        print(f"{options.tool} does not exist; build it with: cargo build")
        print("0 passed, 1 failed")
        return 1
    passed, failed = 0, []
    cases = [case for case in kinds.cases(options.all, options.start) if options.match in f"{case[0]}-{case[1]:03}"]
    with (ProcessPoolExecutor(options.jobs) as pool,
          tempfile.TemporaryDirectory(dir=bench.REFEREES) as work):
        checks = []
        if "controls" in parts:
            checks += [pool.submit(try_model, *case) for case in cases]
            checks += [pool.submit(try_mistake, n) for n in range(len(controls.MISTAKES))]
        if "signs" in parts:
            checks += [pool.submit(try_sign, name) for name in signs.CASES if options.match in name]
        if "faults" in parts:
            names = [recipe.__name__ for recipe in [*seeded.FAULTS, *seeded.CLEAN]]
            checks += [pool.submit(try_fault, options.tool.resolve(), name)
                       for name in [*names, *seeds.MEASURED] if options.match in str(name)]
        if "marks" in parts and options.match in "marks":
            chosen = marks.CASES if options.all else marks.CASES[:8]
            checks += [pool.submit(try_marks, options.tool.resolve(), seed) for seed in chosen]
        trials = [pool.submit(try_case, options.tool.resolve(), *case)
                  for case in cases if "cards" in parts]
        if "cards" in parts and options.match in "office":
            trials.append(pool.submit(try_office, options.tool.resolve()))
        if "cards" in parts and options.match in "demo":
            demo.make(options.tool.resolve(), Path(work))
            trials += [pool.submit(try_demo, options.tool.resolve(), Path(work), name)
                       for name in demo.FILES]
        for check in checks:
            faults = check.result()
            failed += faults
            passed += not faults
        results = [trial.result() for trial in trials]
    if results:
        missed = report(results)
        failed += missed
        passed += 2 * len(THRESHOLDS) - len(missed)
    for fault in failed:
        print(f"FAILED {fault}")
    print(f"{passed} passed, {len(failed)} failed")
    return 1 if failed or not passed else 0


if __name__ == "__main__":
    bench.need_programs(PROGRAMS)
    bench.enter_venv()
    sys.exit(main())
