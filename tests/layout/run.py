#!/usr/bin/env python3
"""The proof on cut lines: ezdxf and svgelements read what `tympan-layout` writes.

    python3 tests/layout/run.py [--tool target/debug/examples/cut_lines]

The tool (built with the tests, or by `cargo build -p tympan-layout --example cut_lines`) writes an
SVG, a DXF and the pieces' places for a few plans. Both readers must find every piece's outline
where its trim is, nothing cut twice, and the crosses clear of all print. It ends with
`N passed, N failed`.
"""

import argparse
import json
import math
import subprocess
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(1, str(HERE.parent / "pdf"))
import bench  # noqa: E402 - tests/pdf

HAIR = 0.002  # mm: four decimals are written
PLANS = ["sharp-single-cut", "round-single-cut", "round-gutter", "sharp-gutter", "circles",
         "pointed", "flat"]


class Lines:
    """What a reader found, in mm with y down: polygons (closed, curves cut into short pieces),
    straight lines, arcs as (centre, radius), and the lines of the crosses."""

    def __init__(self):
        self.polygons, self.lines, self.arcs, self.crosses = [], [], [], []


def read_dxf(path, height):
    """The lines of a DXF as ezdxf sees them."""
    import ezdxf
    from ezdxf import path as paths

    document = ezdxf.readfile(path)
    faults = [str(error) for error in document.audit().errors]
    if document.dxfversion != "AC1009":
        faults.append(f"not release 12 but {document.dxfversion}")
    found = Lines()

    def down(point):
        return (point[0], height - point[1])

    for entity in document.modelspace():
        layer, kind = entity.dxf.layer, entity.dxftype()
        if layer == "REGISTER" and kind == "LINE":
            found.crosses.append((down(entity.dxf.start), down(entity.dxf.end)))
        elif layer != "CUT":
            faults.append(f"{kind} on layer {layer}")
        elif kind == "LINE":
            found.lines.append((down(entity.dxf.start), down(entity.dxf.end)))
        elif kind == "ARC":
            if abs((entity.dxf.end_angle - entity.dxf.start_angle) % 360 - 90) > 1e-6:
                faults.append("an arc that is no quarter of a circle")
            found.arcs.append((down(entity.start_point), down(entity.end_point),
                               down(entity.dxf.center), entity.dxf.radius))
        elif kind in ("POLYLINE", "CIRCLE"):
            if kind == "POLYLINE" and not entity.is_closed:
                faults.append("an open outline")
            points = paths.make_path(entity).flattening(0.0005)
            found.polygons.append([down(p) for p in points])
        else:
            faults.append(f"{kind} is no cut")
    return found, faults


def read_svg(path, sheet):
    """The lines of an SVG as svgelements sees them, its units taken as the file says them."""
    import svgelements as svg

    found, faults = Lines(), []
    # 25.4 pixels to the inch: a pixel is a millimetre.
    document = svg.SVG.parse(str(path), ppi=25.4)
    for side, wanted in (("width", sheet["w"]), ("height", sheet["h"])):
        if abs(float(getattr(document, side)) - wanted) > HAIR:
            faults.append(f"{side} {getattr(document, side)} is not {wanted} mm")
    for group in document.select(lambda e: isinstance(e, svg.Group) and e.id):
        for shape in group.select(lambda e: isinstance(e, svg.Shape)):
            outline = abs(svg.Path(shape))
            if group.id == "register":
                for part in outline.as_subpaths():
                    ends = svg.Path(part)
                    found.crosses.append((tuple(ends.first_point), tuple(ends.current_point)))
                continue
            segments = [s for s in outline if not isinstance(s, svg.Move)]
            closed = any(isinstance(s, svg.Close) for s in segments) or len(segments) > 1
            if closed:
                points = []
                for segment in segments:
                    steps = 400 if isinstance(segment, svg.Arc) else 1
                    points += [tuple(segment.point(i / steps)) for i in range(steps)]
                found.polygons.append(points)
            elif isinstance(segments[0], svg.Arc):
                arc = segments[0]
                found.arcs.append((tuple(arc.start), tuple(arc.end), tuple(arc.center), arc.rx))
            else:
                found.lines.append((tuple(segments[0].start), tuple(segments[0].end)))
    return found, faults


def bounds(points):
    """Left, top, right and bottom."""
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    return min(xs), min(ys), max(xs), max(ys)


def area(points):
    """The area inside a polygon, without sign."""
    following = points[1:] + points[:1]
    return abs(sum(a[0] * b[1] - a[1] * b[0] for a, b in zip(points, following))) / 2


def expected_area(shape):
    """The area of a piece by school geometry."""
    if shape["form"] == "circle":
        return math.pi * shape["diameter"] ** 2 / 4
    if shape["form"] == "hexagon":
        return shape["across"] ** 2 * math.sqrt(3) / 2
    return shape["size"]["w"] * shape["size"]["h"] - (4 - math.pi) * shape["corner_radius"] ** 2


def near(a, b, hair=HAIR):
    """Whether all numbers of both agree."""
    return all(abs(x - y) <= hair for x, y in zip(a, b))


def judge_outlines(found, pieces):
    """Every piece has one closed outline of its own."""
    faults = []
    left = list(found.polygons)
    for piece in pieces:
        fitting = [p for p in left if near(bounds(p), piece["trim"])]
        if len(fitting) != 1:
            faults.append(f"{len(fitting)} outlines at {piece['trim']}")
            continue
        left.remove(fitting[0])
        is_area, wanted = area(fitting[0]), expected_area(piece["shape"])
        if abs(is_area / wanted - 1) > 5e-4:
            faults.append(f"an outline of {is_area:.2f} mm², not {wanted:.2f}")
    if left or found.lines or found.arcs:
        faults.append("lines beside the outlines")
    return faults


def covered(edge, lines):
    """Whether one of the lines runs along the whole edge."""
    (ax, ay), (bx, by) = edge
    for (cx, cy), (dx, dy) in lines:
        level = abs(ay - by) <= HAIR
        same = (abs(cy - ay) + abs(dy - ay) if level else abs(cx - ax) + abs(dx - ax)) <= 2 * HAIR
        low, high = (min(cx, dx), max(cx, dx)) if level else (min(cy, dy), max(cy, dy))
        start, end = (ax, bx) if level else (ay, by)
        if same and low <= min(start, end) + HAIR and high >= max(start, end) - HAIR:
            return True
    return False


def judge_shared(found, pieces):
    """Every edge and corner of every piece is cut, and nothing twice."""
    faults = []
    if found.polygons:
        faults.append("outlines where neighbours share edges")
    corners = 0
    for piece in pieces:
        x1, y1, x2, y2 = piece["trim"]
        r = piece["shape"]["corner_radius"]
        edges = [((x1 + r, y1), (x2 - r, y1)), ((x1 + r, y2), (x2 - r, y2)),
                 ((x1, y1 + r), (x1, y2 - r)), ((x2, y1 + r), (x2, y2 - r))]
        faults += [f"nothing cuts {edge}" for edge in edges if not covered(edge, found.lines)]
        if r == 0:
            continue
        for cx, sx in ((x1 + r, -1), (x2 - r, 1)):
            for cy, sy in ((y1 + r, -1), (y2 - r, 1)):
                ends = {(round(cx + sx * r, 2), round(cy, 2)), (round(cx, 2), round(cy + sy * r, 2))}
                fitting = [arc for arc in found.arcs
                           if near(arc[2], (cx, cy)) and abs(arc[3] - r) <= HAIR
                           and all(min(math.dist(p, e) for e in ends) < 0.02 for p in arc[:2])]
                corners += len(fitting)
                if len(fitting) != 1:
                    faults.append(f"{len(fitting)} round corners at {cx:.2f}, {cy:.2f}")
    if corners != len(found.arcs):
        faults.append("arcs beside the corners")
    for i, a in enumerate(found.lines):
        for b in found.lines[i + 1:]:
            if overlap(a, b) > 0.01:
                faults.append(f"cut twice: {a} and {b}")
    return faults


def overlap(a, b):
    """How far two lines run along each other."""
    best = 0.0
    for across, along in ((0, 1), (1, 0)):
        places = [p[across] for p in (*a, *b)]
        if max(places) - min(places) <= HAIR:
            (a1, a2), (b1, b2) = sorted(p[along] for p in a), sorted(p[along] for p in b)
            best = max(best, min(a2, b2) - max(a1, b1))
    return best


def judge_crosses(found, sheet, pieces):
    """Two or three crosses of two lines each, on the sheet and clear of all print."""
    faults = []
    if len(found.crosses) not in (4, 6):
        faults.append(f"{len(found.crosses)} lines of crosses")
    for line in found.crosses:
        x1, y1, x2, y2 = bounds(line)
        if x1 < 0 or y1 < 0 or x2 > sheet["w"] or y2 > sheet["h"]:
            faults.append(f"a cross off the sheet: {line}")
        for piece in pieces:
            left, top, right, bottom = piece["trim"]
            bleed = piece["bleed"]
            if (x1 < right + bleed["right"] and x2 > left - bleed["left"]
                    and y1 < bottom + bleed["bottom"] and y2 > top - bleed["top"]):
                faults.append(f"a cross on a piece: {line}")
    return faults


def trials(work):
    """All results as (name, faults)."""
    for name in PLANS:
        told = json.loads((work / f"{name}.json").read_text())
        sheet, pieces = told["sheet"], told["pieces"]
        for kind in ("dxf", "svg"):
            path = work / f"{name}.{kind}"
            found, faults = (read_dxf(path, sheet["h"]) if kind == "dxf"
                             else read_svg(path, sheet))
            judge = judge_shared if name.endswith("single-cut") else judge_outlines
            faults += judge(found, pieces)
            faults += judge_crosses(found, sheet, pieces)
            if len(pieces) < 4:
                faults.append(f"only {len(pieces)} pieces: nothing is proved")
            yield f"{name}.{kind}", faults


def main():
    """Writes, reads and judges."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--tool", type=Path, default=bench.TARGET / "debug/examples/cut_lines",
                        help="the program under test, called as TOOL FOLDER")
    tool = parser.parse_args().tool.resolve()
    if not tool.exists():
        print(f"{tool} does not exist; build it with: "
              "cargo build -p tympan-layout --example cut_lines\n0 passed, 1 failed")
        return 1
    passed = failed = 0
    bench.REFEREES.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=bench.REFEREES) as work:
        subprocess.run([tool, work], check=True, timeout=60)
        for name, faults in trials(Path(work)):
            passed, failed = passed + (not faults), failed + bool(faults)
            print(f"{'FAILED' if faults else 'ok'} {name}")
            for fault in faults[:8]:
                print(f"    {fault}")
    print(f"{passed} passed, {failed} failed")
    return 1 if failed or not passed else 0


if __name__ == "__main__":
    bench.enter_venv(HERE / "requirements.txt")
    sys.exit(main())
