"""The trials: the referee on itself, the corpus through the tool, hostile files through the tool."""

import hashlib
import json
import shutil
import tempfile
import traceback
from pathlib import Path

import judge
import reference
import tool
from transform import Move

USUAL = Move(0.4, -2.1, 0.2, 0.1, -0.1)
SHIFT = Move(-1.3, 0.8)
MOVES = {
    # name: (move, backs). The fast trial makes the first two.
    "usual": (USUAL, "even"),
    "shift": (SHIFT, "all"),
    "mirror": (Move(-0.4, 2.1, -0.2, -0.1, 0.1), "odd"),
    "strong": (Move(5.5, 3.5, 0.9, 0.4, 0.25), "second-half"),
    "tilt": (Move(0, 0, 0.5), "2"),
    "stretch": (Move(0, 0, 0, -0.3, 0.2), "last"),
}

# For each mistake that the referee must catch: the file to make it on, and what must be said.
CONTROLS = {
    "tilt": ("reportlab_cards.pdf", "mm from where it should be"),
    "nudge": ("reportlab_cards.pdf", "mm from where it should be"),
    "stretch": ("fpdf_cards.pdf", "mm from where it should be"),
    "centre": ("boxes.pdf", "mm from where it should be"),
    "annotation": ("annotations.pdf", "picture differs"),
    "stay": ("annotations.pdf", "mm from where it should be"),
    "wrap": ("patterns.pdf", "mm from where it should be"),
    "wrong-page": ("latex_cards.pdf", "pixels changed on a page to be left alone"),
    "recode": ("pictures.pdf", "image streams lost or changed"),
    "font": ("latex_cards.pdf", "fonts changed"),
    "layer": ("layers.pdf", "picture differs"),
    "resources": ("inherited.pdf", "picture differs"),
    "rasterise": ("browser_cards.pdf", "new image streams"),
}
MAKERS = {"saltmarsh", "producers", "byhand", "byhand_content", "byhand_paint", "rewrites",
          "make_corpus", "make_hostile"}
QUICK_MODELS = ["reportlab_cards.pdf", "patterns.pdf", "annotations.pdf", "user_unit.pdf"]


def guarded(name, action):
    """Runs a trial; anything it raises is a failure of that trial."""
    try:
        return name, action()
    except Exception as error:  # noqa: BLE001 - reported, and the trial fails
        trace = traceback.format_exc(limit=-2)
        return name, [f"{type(error).__name__}: {error}\n{trace}"]


def made_once(folder: Path, maker, *sources):
    """A folder of files made by `maker`, made anew when the programs that make it change."""
    programs = b"".join(path.read_bytes() for path in sorted(Path(__file__).parent.glob("*.py"))
                        if path.stem in MAKERS)
    folder = folder.with_name(f"{folder.name}-{hashlib.sha256(programs).hexdigest()[:12]}")
    if not folder.exists():
        print(f"making {folder}", flush=True)
        draft = Path(tempfile.mkdtemp(dir=folder.parent))
        maker(*sources, draft)
        try:
            draft.rename(folder)
        except OSError:  # another run was quicker
            shutil.rmtree(draft)
    return folder


def control_trial(folder: Path, work: Path, mistake):
    """The referee must find fault with a file corrected with this mistake."""
    name, reason = CONTROLS[mistake]
    entry = json.loads((folder / "corpus.json").read_text())
    entry = next(e for e in entry if e["file"] == name)

    def action():
        case = judge.Case(folder, entry)
        target = work / f"mistake-{mistake}.pdf"
        reference.correct(case.path, target, USUAL, case.pages("even"), mistake=mistake)
        judgement = case.judge(target, USUAL, "even")
        if any(reason in fault for fault in judgement.faults):
            return []
        return [f"expected {reason!r}, found: {judgement.faults or 'nothing'}"]

    return guarded(f"referee catches '{reference.MISTAKES[mistake]}' ({name})", action)


def model_trial(folder: Path, work: Path, entry):
    """The referee must find no fault with a right correction."""
    def action():
        case = judge.Case(folder, entry)
        target = work / f"model-{entry['file']}"
        reference.correct(case.path, target, USUAL, case.pages("even"),
                          password=case.password or entry.get("owner"))
        return case.judge(target, USUAL, "even").faults

    return guarded(f"referee accepts a right correction ({entry['file']})", action)


def corpus_trials(folder: Path, work: Path, entry, program, moves):
    """The tool on one file, once for each move; also what it must refuse. Yields results."""
    name = entry["file"]
    secret = entry.get("owner") or entry.get("password")
    if secret:
        yield guarded(f"refused without its password ({name})",
                      lambda: refusal(program, folder / name, work / f"refused-{name}"))
    holder = []

    def prepare():
        holder.append(judge.Case(folder, entry))
        return []

    if guarded(name, prepare)[1]:
        yield guarded(f"source can be drawn ({name})", prepare)
        return
    case = holder[0]
    for label in moves:
        move, backs = MOVES[label]
        yield guarded(f"{label} move ({name})",
                      lambda: correction(program, case, move, backs, secret,
                                         work / f"{label}-{name}"))


def correction(program, case, move, backs, secret, target):
    """Corrects with the tool and judges what it made."""
    target.unlink(missing_ok=True)
    before = case.path.read_bytes()
    # Page by page: "even" is refused where the number of pages is odd, as it should be.
    named = ",".join(str(number) for number in case.pages(backs)) or backs
    outcome = tool.correct(program, case.path, target, move, named, secret, limit=False)
    if outcome.code != 0:
        return [f"exit code {outcome.code}: {outcome.output.strip()[-300:]}"]
    judgement = case.judge(target, move, backs)
    if case.path.read_bytes() != before:
        judgement.faults.append("the source was touched")
    return judgement.faults


def refusal(program, source, target):
    """A locked file without its password: exit code 1, a reason, nothing written."""
    target.unlink(missing_ok=True)
    outcome = tool.correct(program, source, target, USUAL, limit=False)
    faults = []
    if outcome.code != 1:
        faults.append(f"exit code {outcome.code} instead of 1")
    if not any(word in outcome.output.lower() for word in ("password", "owner")):
        faults.append(f"the reason does not mention the password: {outcome.output.strip()!r}")
    if target.exists():
        faults.append("an output was written all the same")
    return faults
