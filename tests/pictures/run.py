#!/usr/bin/env python3
"""The proof on pictures: OpenCV, other coders of QR codes and hostile files judge `tympan read`.

    python3 tests/pictures/run.py [--full] [--tool target/debug/tympan] [--only PART]

`--full` adds resolutions that take long. It ends with `N passed, N failed`.
"""

import argparse
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(1, str(HERE.parent / "pdf"))
import bench  # noqa: E402 - tests/pdf

PROGRAMS = {"pdftoppm": "poppler-utils"}
PARTS = ["agreement", "codes", "formats", "hostile"]


def arguments():
    """The command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--full", action="store_true", help="every resolution")
    parser.add_argument("--tool", type=Path, default=bench.TARGET / "debug" / "tympan",
                        help="the program under test, called as TOOL read --setup NAME FILE...")
    parser.add_argument("--only", choices=PARTS, action="append", help="only these parts")
    return parser.parse_args()


def part_trials(part, tool, work, full):
    """All results of a part, as (name, faults, what was measured)."""
    import importlib

    module = importlib.import_module(part)
    more = {"full": full} if part == "formats" else {}
    return list(module.trials(tool, work, **more))


def main():
    """Runs the parts side by side and prints what was measured and what failed."""
    from concurrent.futures import ProcessPoolExecutor

    options = arguments()
    tool = options.tool.resolve()
    if not tool.exists():
        print(f"{tool} does not exist; build it with: cargo build\n0 passed, 1 failed")
        return 1
    passed = failed = 0
    bench.REFEREES.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=bench.REFEREES) as work, ProcessPoolExecutor(2) as pool:
        pending = {part: pool.submit(part_trials, part, tool, Path(work), options.full)
                   for part in options.only or PARTS}
        for part, future in pending.items():
            for name, faults, measured in future.result():
                passed, failed = passed + (not faults), failed + bool(faults)
                print(f"{'FAILED' if faults else 'ok'} {part}: {name}"
                      f"{': ' + measured if measured else ''}")
                for fault in faults:
                    print(f"    {fault}", flush=True)
    print(f"{passed} passed, {failed} failed")
    return 1 if failed or not passed else 0


if __name__ == "__main__":
    bench.need_programs(PROGRAMS)
    bench.enter_venv()
    sys.exit(main())
