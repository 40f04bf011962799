#!/usr/bin/env python3
"""How much CPU time and memory reading test sheets takes, against OpenCV detecting the same things.

    cargo build --release -p tympan-marks --example picture_speed
    cargo build --release
    python3 benchmarks/pictures.py [--rounds 5]

The pictures are two scans of A4 at 300 and at 600 dpi (tests/pictures/printing.py) and the demo's
photo of 12 megapixels. Tympan's figure is all of the reading beyond decoding; OpenCV's is a lean
pipeline without a reading: QR codes, threshold, connected components, centroids and a robust map.
Both run on one thread, one after the other, each in a process of its own; medians of the rounds.
Budgets: design of the project, section 9, and memory of 6 bytes a pixel over the decoded picture.
"""

import argparse
import json
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path += [str(ROOT / "tests" / "pdf"), str(ROOT / "tests" / "pictures")]
import bench  # noqa: E402 - shares its Python with the referees

# milliseconds for one picture
BUDGETS = {"scan, 300 dpi": 100, "scan, 600 dpi": 350, "photo, 12 megapixels": 300}
BYTES_A_PIXEL = 6


def make(tool, folder):
    """{name: files} of the pictures."""
    import cv2

    import printing
    from agreement import sheet_of
    from tympan import Tympan

    tympan = Tympan(tool, folder / "set-up", "sideways", 1)
    sheet, _ = sheet_of(tympan, 1, "left")
    files = {}
    for dpi in (300, 600):
        names = [folder / f"{side}-{dpi}.png" for side in ("front", "back")]
        for side, name in zip(("front", "back"), names):
            cv2.imwrite(str(name), printing.scan(sheet, side, dpi))
        files[f"scan, {dpi} dpi"] = names
    subprocess.run([tool, "--data", folder / "none", "demo", folder / "demo"], check=True,
                   stdout=subprocess.DEVNULL)
    photos = sorted((folder / "demo" / "pictures").glob("photo*.jpg"))
    files["photo, 12 megapixels"] = photos[:1]
    return files


def with_opencv(files):
    """CPU milliseconds of a lean detection in each picture, beyond decoding; all together."""
    import cv2
    import numpy

    cv2.setNumThreads(1)
    pictures = [cv2.imread(str(file), cv2.IMREAD_GRAYSCALE) for file in files]
    start = time.process_time()
    for picture in pictures:
        factor = max(1, round(max(picture.shape) / 1900))
        small = cv2.resize(picture, None, fx=1 / factor, fy=1 / factor,
                           interpolation=cv2.INTER_AREA)
        cv2.QRCodeDetector().detectAndDecodeMulti(small)
        size = max(picture.shape) // 60 | 1
        dark = cv2.adaptiveThreshold(picture, 255, cv2.ADAPTIVE_THRESH_MEAN_C,
                                     cv2.THRESH_BINARY_INV, size, 25)
        _, _, stats, middles = cv2.connectedComponentsWithStats(dark)
        width, height, area = (stats[:, k] for k in (cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT,
                                                     cv2.CC_STAT_AREA))
        round_ones = (numpy.abs(width - height) < 0.1 * width) & (area > 0.5 * width * height)
        round_ones &= (width > max(picture.shape) / 120) & (width < max(picture.shape) / 30)
        marks = middles[round_ones].astype(numpy.float32)
        if len(marks) > 4:
            cv2.findHomography(marks, marks + 1, cv2.RANSAC, 3.0)
            cv2.estimateAffine2D(marks, marks + 1)
    return (time.process_time() - start) * 1000


def race(speed, files, rounds):
    """Medians: (decoding ms, reading ms, OpenCV ms) for a picture, bytes a pixel, sheets read."""
    ours, theirs = [], []
    for _ in range(rounds):
        ours.append(json.loads(subprocess.run([speed, *files], check=True, capture_output=True,
                                              text=True).stdout))
        theirs.append(float(subprocess.run(
            [sys.executable, __file__, "--opencv", *files], check=True, capture_output=True,
            text=True).stdout))
    # What the program takes without any picture to speak of is not the pictures'.
    bare = json.loads(subprocess.run([speed], check=True, capture_output=True, text=True).stdout)
    median = {key: statistics.median(run[key] for run in ours) for key in ours[0]}
    pixels = median["megapixels"] * 1e6
    over = (median["peak_kb"] - bare["peak_kb"]) * 1024 - pixels
    return [median["decode_ms"] / len(files), median["read_ms"] / len(files),
            statistics.median(theirs) / len(files), over / pixels * 1.0, median["sheets_read"]]


def main():
    """Makes the pictures, races, reports."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--tool", type=Path, default=bench.TARGET / "release" / "tympan")
    parser.add_argument("--speed", type=Path,
                        default=bench.TARGET / "release" / "examples" / "picture_speed")
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--opencv", nargs="+", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.opencv:
        print(with_opencv(options.opencv))
        return
    for needed in (options.tool, options.speed):
        if not needed.exists():
            sys.exit(f"{needed} does not exist; build it as this file's head says")
    with tempfile.TemporaryDirectory() as folder:
        files = make(options.tool.resolve(), Path(folder))
        print(f"{'one picture':22} {'decode ms':>10} {'read ms':>8} {'OpenCV ms':>10} {'ratio':>6} "
              f"{'bytes a pixel':>14}")
        for name, pictures in files.items():
            decode, read, opencv, memory, sheets = race(options.speed.resolve(), pictures,
                                                        options.rounds)
            if sheets != 1:
                sys.exit(f"{name}: {sheets} sheets were read")
            print(f"{name:22} {decode:10.0f} {read:8.0f} {opencv:10.0f} {read / opencv:6.2f} "
                  f"{memory:14.1f}")
            for what, value, limit in [("CPU ms", read, BUDGETS[name]),
                                       ("bytes a pixel over the picture", memory, BYTES_A_PIXEL)]:
                print(f"  {'within' if value <= limit else 'OVER':6} {what}: {value:.1f}, at most "
                      f"{limit}")


if __name__ == "__main__":
    bench.enter_venv()
    main()
