"""Hostile and damaged files through the tool: refused with a reason, or put right; never worse."""

import multiprocessing
import random
from pathlib import Path

import make_hostile
import referee
import rewrites
import structure
import tool
from transform import Move

MOVE = Move(0.4, -2.1, 0.2, 0.1, -0.1)
DRAWABLE = ("loop", "odd", "nopdf", "xref", "damage")  # drawing the others is a trial in itself
PAGES, LARGEST = 8, 1500  # pages and mm that are drawn
DRAWING_SECONDS = 60
DPI, PLACE, DIFFERENCE = 100, 0.1, 110


def batches(folder: Path, full):
    """Lists of (group, path), a few dozen each; a seeded sixth of the damage unless `full`."""
    chosen = []
    for group in [*make_hostile.GROUPS, "damage"]:
        paths = sorted((folder / group).glob("*.pdf"))
        if group == "damage" and not full:
            paths = sorted(random.Random(1).sample(paths, len(paths) // 6))
        chosen += [(group, path) for path in paths]
    return [chosen[start::16] for start in range(16)]


def trials(batch, work: Path, program):
    """Runs the tool on each file; yields (name with its outcome, faults)."""
    for group, source in batch:
        target = work / f"hostile-{group}-{source.name}"
        target.unlink(missing_ok=True)
        password = rewrites.USER if "user_password" in source.name else None
        outcome = tool.correct(program, source, target, MOVE, "all", password)
        name = f"{group}/{source.stem}"
        faults = [outcome.breach] if outcome.breach else []
        if faults:
            faults.append(outcome.output.strip()[-300:])
            yield f"{name}: breach", faults
            continue
        if outcome.code == 1:
            if target.exists():
                faults.append("refused, yet an output was written")
            yield f"{name}: refused", faults
            continue
        if not target.exists():
            yield f"{name}: no output", ["exit code 0 without an output"]
            continue
        # A bomb is still a bomb in the output: its streams are not decoded here.
        look = "--show-npages" if group == "bomb" else "--check"
        code, lines = structure.output_of("qpdf", look, *(
            [f"--password={password}"] if password else []), target)
        # Damage within the content may stay; the file around it must be whole.
        broken = [line for line in lines if "file is damaged" in line or "reconstruct" in line]
        if code == 2 or broken:
            faults.append(f"qpdf {look}: {broken or lines[-1:]}")
        verdict = judged_apart(source, target, password) if group in DRAWABLE else None
        how = "corrected" if verdict is None else "corrected and judged"
        if verdict and group == "damage" and "damaged" in outcome.output:
            # Readers may mend a broken file differently; it must not pass without a word.
            how, verdict = "mended otherwise than the renderers do, with a warning", []
        faults += verdict or []
        yield f"{name}: {how}", faults
        target.unlink()


def judged_apart(source, target, password):
    """The pictures' faults, found in a process of its own; None when they could not be drawn.

    The renderers are not proof against such files, so they are given a limited time and may die.
    """
    receive, send = multiprocessing.Pipe(duplex=False)
    process = multiprocessing.get_context("fork").Process(
        target=lambda: send.send(pictures(source, target, password)))
    process.start()
    send.close()
    verdict = None
    try:
        if receive.poll(DRAWING_SECONDS):
            verdict = receive.recv()
    except EOFError:
        verdict = None
    process.kill()
    process.join()
    return verdict


def attempt(action, *arguments):
    """What the action returns; None when it fails, as a renderer may on such files."""
    try:
        return action(*arguments)
    except Exception:  # noqa: BLE001 - whatever a renderer or reader throws at a damaged file
        return None


def pictures(source, target, password):
    """Faults when neither renderer finds the output to be the moved input; None when undrawable."""
    referee.DPI, referee.DIFFERENCE = DPI, DIFFERENCE
    with structure.open_any(target, [password]) as pdf:
        secret = password if pdf.is_encrypted else None
    sizes = attempt(referee.page_sizes, target, secret)
    if sizes is None or len(sizes) > PAGES or any(
            max(size[:2]) > LARGEST or min(size[:2]) < 20 for size in sizes):
        return None
    found = {}
    for name in ("pdfium", "poppler"):
        draw = referee.RENDERERS[name]
        old = attempt(draw, source, sizes, password)
        if old is None:
            continue
        new = attempt(draw, target, sizes, secret)
        faults = ["the output cannot be drawn"] if new is None else page_faults(old, new, sizes)
        if name == "pdfium":
            faults += attempt(size_faults, source, target, password, secret) or []
        if not faults:
            return []
        found[name] = faults
    if not found:
        return None
    return [f"{name}, {fault}" for name, faults in found.items() for fault in faults]


def page_faults(old, new, sizes):
    """Faults of each page's picture."""
    faults = []
    for number, (before, after, size) in enumerate(zip(old, new, sizes), 1):
        places = [(x, y) for x in (9, size[0] - 9) for y in (9, size[1] - 9)]
        verdict = referee.compare_moved(before, after, MOVE.matrix(*size[:2]), places, PLACE)
        faults += [f"page {number}: {fault}" for fault in verdict.faults]
    return faults


def size_faults(source, target, password, secret):
    """Where pdfium sees other page counts or sizes."""
    import pypdfium2

    with pypdfium2.PdfDocument(str(source), password=password) as old, \
            pypdfium2.PdfDocument(str(target), password=secret) as new:
        if len(old) != len(new):
            return [f"{len(old)} pages became {len(new)}"]
        return [f"page {n + 1}: size {old[n].get_size()} became {new[n].get_size()}"
                for n in range(len(old))
                if any(abs(a - b) > 1 for a, b in zip(old[n].get_size(), new[n].get_size()))]
