"""Scores what `tympan inspect --json` says about a case against its truth."""

from dataclasses import dataclass, field

import numpy as np

import scene

SURE = 0.5  # a confidence below this is a warning that the answer may be wrong
EXACT, FLAT = 0.05, 0.10  # mm: drawn pages, pages that are one picture
APART, APART_FLAT = 0.3, 0.5  # mm: the generator's marks lie around its pictures
BLEED = 0.2  # mm
SPREAD = 2.6  # standard uncertainties within which an honest error lies (99 %)


@dataclass
class Score:
    """Counts of right and wrong; each wrong has a line that says what."""

    counts: dict = field(default_factory=dict)  # name: [right, all]
    worst: dict = field(default_factory=dict)  # name: mm
    remarks: list = field(default_factory=list)

    def note(self, name, right, remark):
        """Counts one judgement."""
        pair = self.counts.setdefault(name, [0, 0])
        pair[0] += bool(right)
        pair[1] += 1
        if not right:
            self.remarks.append(f"{name}: {remark}")

    def add_all(self, other):
        """Takes in the counts and the remarks of another score."""
        self.add(other)
        self.remarks += other.remarks

    def add(self, other):
        """Takes in the counts of another score."""
        for name, (right, total) in other.counts.items():
            pair = self.counts.setdefault(name, [0, 0])
            pair[0] += right
            pair[1] += total
        for name, value in other.worst.items():
            self.worst[name] = max(value, self.worst.get(name, 0.0))


def xy(value):
    """A pair of lengths out of JSON."""
    if isinstance(value, dict):
        return np.array([value["x"], value["y"]], float)
    return np.array(value, float)


def grids_of(page):
    """All grids that an answer states for a page."""
    grids = [page["grid"]] if page.get("grid") else []
    return grids + [grid for grid in page.get("grids") or [] if grid not in grids]


def occupied(grid):
    """The part of a true grid that holds cards: first and last column and row."""
    filled = np.array(grid["filled"], bool).reshape(grid["rows"], grid["columns"])
    columns, rows = np.flatnonzero(filled.any(axis=0)), np.flatnonzero(filled.any(axis=1))
    return columns[0], columns[-1], rows[0], rows[-1]


def place(grid, column, row):
    """Where a cell of a true grid has its top left corner."""
    step = xy(grid["pitch_mm"]) * [column, row]
    return xy(grid["origin_mm"]) + scene.tilt(grid["rotation_deg"])[:2, :2] @ step


def shapes(grid):
    """(columns, rows, origin) that are right: all places, or those that hold cards."""
    left, right, top, foot = occupied(grid)
    for c0, c1 in ((0, grid["columns"] - 1), (left, right)):
        for r0, r1 in ((0, grid["rows"] - 1), (top, foot)):
            yield c1 - c0 + 1, r1 - r0 + 1, place(grid, c0, r0)


def find(grid, stated):
    """The stated grid that means a true one, and where its origin should be."""
    best = None
    for said in stated:
        for columns, rows, origin in shapes(grid):
            if (said["columns"], said["rows"]) != (columns, rows):
                continue
            apart = float(np.hypot(*(xy(said["origin_mm"]) - origin)))
            if best is None or apart < best[2]:
                best = said, origin, apart
    if best and best[2] < max(grid["trim_mm"]) / 3:
        return best
    return None


def judge_grid(score, where, grid, stated, tolerance):
    """One true grid against those that the answer states for its page."""
    found = find(grid, stated)
    size = f"{grid['columns']} x {grid['rows']}"
    said = ", ".join(f"{g['columns']} x {g['rows']}" for g in stated) or "none"
    score.note("grid", found, f"{where} has {size}, said: {said}")
    sure = any(g.get("confidence", 1) >= SURE for g in stated)
    if not found:
        score.note("honest", not sure, f"{where} is sure of {said}, has {size}")
        score.note("pitch", False, f"{where} grid not found")
        if grid["trim_known"]:
            score.note("trim", False, f"{where} grid not found")
        return
    answer = found[0]
    confidence = answer.get("confidence", 1)

    def length(name, error, sd):
        error = float(np.max(np.abs(error)))
        score.note(name, error <= tolerance, f"{where} {name} {error:.3f} mm off")
        score.worst[name] = max(error, score.worst.get(name, 0.0))
        if error > tolerance:
            score.note("honest", confidence < SURE or error <= SPREAD * (sd or 0),
                       f"{where} {name} {error:.3f} mm off, sd {sd}, confidence {confidence}")

    several = np.array([answer["columns"] > 1, answer["rows"] > 1])
    if several.any():
        off = (xy(answer["pitch_mm"]) - xy(grid["pitch_mm"])) * several
        length("pitch", off, answer.get("pitch_sd_mm"))
    apart = answer.get("disagreement_mm", 0)
    most = APART if tolerance == EXACT else APART_FLAT
    score.note("agrees", apart <= most, f"{where} lines and pictures said to lie {apart} mm apart")
    if grid["trim_known"]:
        length("trim", xy(answer["trim_mm"]) - xy(grid["trim_mm"]), answer.get("trim_sd_mm"))
        length("origin", found[2], answer.get("place_sd_mm"))
    if np.allclose(xy(answer["trim_mm"]), xy(grid["trim_mm"]), atol=BLEED):
        judge_edges(score, where, grid, answer)


def judge_edges(score, where, grid, answer):
    """Bleed and round corners: nothing need be said of them, but nothing wrong."""
    if answer.get("bleed_mm"):
        several = [grid["columns"] > 1, grid["rows"] > 1]
        gutters = (xy(grid["pitch_mm"]) - xy(grid["trim_mm"]))[several]
        said, has = answer["bleed_mm"][0], min([grid["bleed_mm"], *gutters / 2])
        score.note("bleed", abs(said - has) <= BLEED, f"{where} bleeds {has} mm, said: {said:.2f}")
    if answer.get("corner_radius_mm"):
        said, has = answer["corner_radius_mm"], grid["corner_radius_mm"] or 0
        score.note("radius", abs(said - has) <= BLEED,
                   f"{where} has corners of {has} mm, said: {said:.2f}")


def judge_fold(score, where, page, stated, tolerance):
    """A fold-over sheet: both halves may be one grid or two, where their pitch goes on."""
    first, second = sorted(page["grids"], key=lambda grid: tuple(grid["origin_mm"]))
    for way, axis in (("columns", 0), ("rows", 1)):
        whole = {**first, way: first[way] + second[way],
                 "filled": [True] * (len(first["filled"]) + len(second["filled"]))}
        if first[way] == 1:  # the halves' distance is the only pitch there is
            step = list(first["pitch_mm"])
            step[axis] = second["origin_mm"][axis] - first["origin_mm"][axis]
            whole["pitch_mm"] = step
        if find(whole, stated):
            judge_grid(score, where, whole, stated, tolerance)
            return
    for grid in page["grids"]:
        judge_grid(score, where, grid, stated, tolerance)


def judge_standing(score, where, pair, answer):
    """How the cards' backs stand: nothing may be said where pages do not tell, but nothing wrong."""
    stated, meant = answer.get("standing"), pair.get("standing")
    if stated is None or not meant:
        return
    flips = [answer["flip"]] if answer.get("flip") else list(pair["file_errors"] or meant)
    right = {meant.get(flip) for flip in flips}
    score.note("standing", right == {stated}, f"{where} stand {right}, said: {stated}")


def judge_page(score, where, page, answer, tolerance):
    """One page's role and grids."""
    said = answer.get("role") if answer else None
    score.note("role", said == page["role"], f"{where} is {page['role']}, said: {said}")
    stated = grids_of(answer or {})
    if not page["grids"]:
        listed = ", ".join(f"{g['columns']} x {g['rows']} of {g['trim_mm']} mm, confidence "
                           f"{g.get('confidence')}" for g in stated)
        score.note("none invented", not stated, f"{where} holds no cards, said: {listed}")
    elif page["role"] == "fold_over":
        judge_fold(score, where, page, stated, tolerance)
    else:
        for grid in page["grids"]:
            judge_grid(score, where, grid, stated, tolerance)


def centres(grid):
    """The middles of a grid's cells, mm on the page."""
    half = scene.tilt(grid["rotation_deg"])[:2, :2] @ (xy(grid["trim_mm"]) / 2)
    return [place(grid, column, row) + half
            for row in range(grid["rows"]) for column in range(grid["columns"])]


def judge_error(score, where, page, truth, answer, tolerance):
    """The file's own error over the cells of the front."""
    stated = answer.get("file_error")
    # Where either flip is said to fit, both errors are said.
    other = answer.get("otherwise")
    if answer.get("flip") is None and other and set(truth) == {other["flip"]}:
        stated = other["file_error"]
    score.note("error", False, f"{where} no file error stated") if not stated else None
    if not stated:
        return
    stated = {**stated, "shift_mm": dict(zip("xy", xy(stated["shift_mm"]))),
              "stretch_percent": dict(zip("xy", xy(stated["stretch_percent"])))}
    has = scene.of_field(stated, page["size_mm"])
    flip = answer.get("flip")
    allowed = [truth[flip]] if flip in truth else list(truth.values())
    worst = []
    for error in allowed:
        wanted = scene.of_field(error, page["size_mm"])
        worst.append(max(float(np.hypot(*(scene.apply(has, p) - scene.apply(wanted, p))))
                         for grid in page["grids"] for p in centres(grid)))
    off = min(worst)
    score.note("error", off <= tolerance, f"{where} file error {off:.3f} mm off: said "
               f"{brief(stated)}, is {[brief(error) for error in allowed]}")
    score.worst["error"] = max(off, score.worst.get("error", 0.0))
    if off > tolerance:
        reach = max(float(np.hypot(*(np.array(p) - np.array(page["size_mm"]) / 2)))
                    for grid in page["grids"] for p in centres(grid))
        sd = np.hypot(stated.get("shift_sd_mm") or 0, reach * np.hypot(
            np.radians(stated.get("tilt_sd_deg") or 0),
            (stated.get("stretch_sd_percent") or 0) / 100))
        confidence = answer.get("confidence", 1)
        score.note("honest", confidence < SURE or off <= SPREAD * sd,
                   f"{where} file error {off:.3f} mm off, sd {sd:.3f}, confidence {confidence}")


def brief(error):
    """A field in a few characters."""
    shift, stretch = error["shift_mm"], error["stretch_percent"]
    return (f"({shift['x']:+.2f}, {shift['y']:+.2f}) mm {error['tilt_deg']:+.3f}° "
            f"({stretch['x']:+.2f}, {stretch['y']:+.2f}) %")


def judge_pairs(score, truth, answer, tolerance):
    """Which page is the back of which, the flip, and the file's error."""
    said = {(pair["front"], pair["back"]): pair for pair in answer.get("pairs") or []}
    wanted = {(pair["front"], pair["back"]): pair for pair in truth["pairs"]}
    other = {tuple(pair) for pair in truth["other_pairs"]}
    swapped = other and set(said) == other
    for key, pair in wanted.items():
        where = f"pair {key[0]}/{key[1]}"
        score.note("pair", key in said or swapped, f"{where} not said; said: {sorted(said)}")
        if key in said:
            judge_standing(score, where, pair, said[key])
        if key not in said or not pair["file_errors"]:
            continue
        flips = set(pair["file_errors"])
        flip = said[key].get("flip")
        score.note("flip", flip in flips or (flip is None and len(flips) == 2),
                   f"{where} is {' or '.join(sorted(flips))}, said: {flip}")
        page = truth["pages"][key[0] - 1]
        judge_error(score, where, page, pair["file_errors"], said[key], tolerance)
    for key in set(said) - set(wanted):
        if not swapped:
            score.note("pair", False, f"pair {key[0]}/{key[1]} is none")


def judge(truth, answer):
    """The score of an answer to a case."""
    score = Score()
    tolerance = FLAT if truth["flattened_dpi"] else EXACT
    pages = {page["page"]: page for page in answer["pages"] if not page.get("back_file")}
    for page in truth["pages"]:
        where = f"page {page['page']}"
        judge_page(score, where, page, pages.get(page["page"]), tolerance)
    backs = {page["page"]: page for page in answer["pages"] if page.get("back_file")}
    for page in truth["back_pages"]:
        judge_page(score, f"page {page['page']} of the backs", page, backs.get(page["page"]),
                   tolerance)
    judge_pairs(score, truth, answer, tolerance)
    return score


def model(truth):
    """What a faultless tool would answer: the judge must be content with it."""
    pages = []
    for page in [*truth["pages"], *truth["back_pages"]]:
        grids = [{**grid, "bleed_mm": [grid["bleed_mm"]] * 2, "confidence": 1.0}
                 for grid in page["grids"]]
        pages.append({"page": page["page"], "role": page["role"], "grid": (grids or [None])[0],
                      "grids": grids[1:], "back_file": page not in truth["pages"]})
    pairs = []
    for pair in truth["pairs"]:
        flip = truth["flip"] if pair["file_errors"] else None
        pairs.append({"front": pair["front"], "back": pair["back"], "flip": flip,
                      "standing": (pair.get("standing") or {}).get(flip),
                      "file_error": pair["file_errors"].get(flip), "confidence": 1.0})
    return {"pages": pages, "pairs": pairs, "faults": []}
