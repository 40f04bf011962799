"""Tries the tool on files with one fault each, and its figures against independent ones."""

from pathlib import Path

import produce
import referees
import seeded

# The seeded fault: the code that it must be given.
CODES = {
    seeded.no_bleed: "no-bleed", seeded.little_bleed: "little-bleed",
    seeded.outside_printable: "outside-printable", seeded.thin_border: "thin-border",
    seeded.coarse_picture: "coarse-picture", seeded.tiny_text: "tiny-text",
    seeded.hairline: "hairline", seeded.heavy_ink: "heavy-ink",
    seeded.light_text_on_dark: "light-text-on-dark", seeded.transparency: "transparency",
    seeded.layers: "layers", seeded.locked: "locked", seeded.damaged: "damaged",
    seeded.paper_size: "paper-size", seeded.backs_not_mirrored: "backs-not-mirrored",
    seeded.scaled: "scaled", seeded.file_error: "file-error",
    seeded.marks_off: "marks-off",
}
# Files whose figures are checked, and cases of the cards' proof with pages of many kinds.
FIGURED = [seeded.coarse_picture, seeded.tiny_text, seeded.heavy_ink, seeded.scaled]
MEASURED = [("vector", 0), ("pictures", 1), ("forms", 1), ("flat300", 0), ("boxes", 2),
            ("browser", 1), ("latex", 0), ("cardless", 2)]
INK, PPI, TEXT = 1.0, 1.0, 0.05  # per cent of the page, pixels per inch, points


def pages_of(fault):
    """The pages that a fault is said to be on."""
    return fault.get("pages") or ([fault["page"]] if fault.get("page") else [])


def grave(answer):
    """The faults that are more than good to know."""
    return [fault for fault in answer.get("faults") or [] if fault.get("severity") != "note"]


def listed(faults):
    """Faults in a few words."""
    return "; ".join(f"{f['code']} on {pages_of(f) or 'the file'}: {f['message']}"
                     for f in faults) or "nothing"


def seeded_trial(ask, recipe, folder):
    """A file with one fault, or a clean one. Returns what is wrong with the answer."""
    path = Path(folder) / f"{recipe.__name__}.pdf"
    recipe(path)
    answer, wrong = ask(path)
    if wrong:
        return [f"{recipe.__name__}: {wrong}"]
    said = answer.get("faults") or []
    if recipe in seeded.CLEAN:
        return [f"{recipe.__name__} has no fault, said: {listed(grave(answer))}"
                ] if grave(answer) else []
    code, pages = CODES[recipe], seeded.FAULTS[recipe]
    found = [fault for fault in said if fault["code"] == code]
    wrong = []
    if not found:
        wrong.append(f"{code} not found, said: {listed(said)}")
    named = {page for fault in found for page in pages_of(fault)}
    if found and pages and not named <= set(pages):
        wrong.append(f"{code} is on {pages}, said: {sorted(named)}")
    if found and pages and not named:
        wrong.append(f"{code} names no page")
    if any(not fault.get("hint") for fault in said):
        wrong.append(f"a fault has no hint: {listed(f for f in said if not f.get('hint'))}")
    more = [fault for fault in grave(answer) if fault["code"] != code]
    if more:
        wrong.append(f"also said: {listed(more)}")
    return [f"{recipe.__name__}: {fault}" for fault in wrong] + (
        figures(recipe.__name__, path, answer) if recipe in FIGURED else [])


def figures(name, path, answer):
    """Ink, resolution and sizes of text against Ghostscript, poppler and pdfium."""
    wrong = []
    inks, shown, letters = referees.ink(path), referees.pictures(path), referees.smallest_text(path)
    for page in answer["pages"]:
        number = page["page"]

        def compare(what, said, meant, tolerance):
            if said is None or meant is None:
                if said != meant:
                    wrong.append(f"{name} page {number}: {what} said {said}, is {meant}")
            elif abs(said - meant) > tolerance:
                wrong.append(f"{name} page {number}: {what} said {said:.2f}, is {meant:.2f}")

        ink = page.get("ink_percent")
        if not ink:
            wrong.append(f"{name} page {number}: no ink said")
        for index, colour in enumerate(("cyan", "magenta", "yellow", "black")) if ink else ():
            compare(colour, ink[colour], inks[number - 1][index], INK)
        coarsest = min((min(pair) for pair in shown.get(number, [])), default=None)
        compare("lowest ppi", page.get("coarsest_ppi"), coarsest, PPI)
        compare("smallest text", page.get("smallest_text_pt"), letters.get(number), TEXT)
    return wrong


def figures_trial(ask, kind, seed, folder):
    """Figures about a case of the cards' proof."""
    truth = produce.case(kind, seed, folder)
    path = Path(folder) / truth["file"]
    answer, wrong = ask(path)
    return [f"{truth['file']}: {wrong}"] if wrong else figures(truth["file"], path, answer)
