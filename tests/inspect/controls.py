"""Answers with one mistake each; the judge must find fault with every one."""

import copy

import judge


def first_grid(answer):
    """The first grid of an answer."""
    return next(page["grid"] for page in answer["pages"] if page["grid"])


def wrong_sign(answer):
    for pair in answer["pairs"]:
        shift = pair["file_error"]["shift_mm"]
        shift["x"], shift["y"] = -shift["x"], -shift["y"]


def wrong_tilt(answer):
    for pair in answer["pairs"]:
        pair["file_error"]["tilt_deg"] *= -1


def wide_trim(answer):
    first_grid(answer)["trim_mm"][0] += 0.08


def wide_pitch(answer):
    first_grid(answer)["pitch_mm"][1] += 0.06


def moved_grid(answer):
    first_grid(answer)["origin_mm"][0] += 0.3


def one_column_less(answer):
    first_grid(answer)["columns"] -= 1


def lost_grid(answer):
    page = next(page for page in answer["pages"] if page["grid"])
    page["grid"] = None


def swapped_roles(answer):
    for page in answer["pages"]:
        page["role"] = {"front": "back", "back": "front"}.get(page["role"], page["role"])


def lost_pair(answer):
    answer["pairs"].pop()


def shifted_pairs(answer):
    for pair in answer["pairs"]:
        pair["front"], pair["back"] = pair["back"], pair["front"] + 2


def wrong_flip(answer):
    for pair in answer["pairs"]:
        pair["flip"] = {"sideways": "endways", "endways": "sideways"}[pair["flip"]]


def invented(answer):
    answer["pages"][0]["grid"] = {"columns": 3, "rows": 3, "trim_mm": [63, 88], "confidence": 0.3,
                                  "pitch_mm": [63, 88], "origin_mm": [10, 10], "rotation_deg": 0}


def wrong_standing(answer):
    other = {"head_to_head": "head_to_foot", "head_to_foot": "head_to_head"}
    for pair in answer["pairs"]:
        pair["standing"] = other[pair["standing"]]


# mistake: the case to make it on, and the judgement that must go wrong
MISTAKES = {
    wrong_sign: (("error", 0), "error"), wrong_tilt: (("error", 3), "error"),
    wide_trim: (("error", 0), "trim"), wide_pitch: (("error", 0), "pitch"),
    moved_grid: (("error", 0), "origin"), one_column_less: (("error", 0), "grid"),
    lost_grid: (("error", 0), "grid"), swapped_roles: (("error", 0), "role"),
    lost_pair: (("error", 0), "pair"), shifted_pairs: (("error", 3), "pair"),
    wrong_flip: (("part", 0), "flip"), wrong_standing: (("part", 0), "standing"), invented: (("cardless", 0), "none invented"),
}


def missed(truth, mistake, wanted):
    """What the judge made of a mistake, if it did not see it."""
    answer = copy.deepcopy(judge.model(truth))
    mistake(answer)
    score = judge.judge(truth, answer)
    right, total = score.counts.get(wanted, (0, 0))
    return [] if right < total else [f"'{mistake.__name__}' not seen: {score.counts}"]
