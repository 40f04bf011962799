"""Judges one corrected file: pictures by the referees, then structure."""

from dataclasses import dataclass, field
from pathlib import Path

import pikepdf

import referee
import structure
from make_corpus import EXACT
from transform import Move, back_pages


@dataclass
class Judgement:
    """Everything that was found wrong, and how good the rest was."""

    faults: list = field(default_factory=list)
    worst: dict = field(default_factory=dict)  # renderer: mm at the worst fiducial
    fiducials: int = 0


class Case:
    """One source file, drawn once by each of its referees."""

    def __init__(self, folder: Path, entry):
        self.path = folder / entry["file"]
        self.entry = entry
        self.password = entry.get("password")
        self.sizes = referee.page_sizes(self.path, self.password)
        self.places = [referee.find_fiducials(page) for page in
                       referee.upright_pdfium(self.path, self.sizes, self.password)]
        self.drawn = {name: referee.RENDERERS[name](self.path, self.sizes, self.password)
                      for name in entry["referees"]}

    def pages(self, backs):
        """The numbers of the pages that `backs` names."""
        return back_pages(backs, len(self.sizes))

    def judge(self, target: Path, move: Move, backs, check_structure=True):
        """Compares the corrected file with what it should be."""
        judgement = Judgement()
        password = self.password_of(target)
        if len(referee.page_sizes(target, password)) != len(self.sizes):
            judgement.faults.append("the number of pages changed")
            return judgement
        chosen = self.pages(backs)
        measured = dict.fromkeys(chosen, 0)
        for name, tolerance in self.entry["referees"].items():
            after = referee.RENDERERS[name](target, self.sizes, password)
            for number, (size, old, new, places) in enumerate(
                    zip(self.sizes, self.drawn[name], after, self.places), 1):
                if number in chosen:
                    verdict = referee.compare_moved(
                        old, new, move.matrix(*size[:2]), places, tolerance)
                    if tolerance == EXACT:
                        measured[number] = max(measured[number], verdict.fiducials)
                    judgement.worst[name] = max(judgement.worst.get(name, 0), verdict.worst)
                    judgement.fiducials += verdict.fiducials
                else:
                    verdict = referee.compare_same(old, new)
                judgement.faults += [f"page {number}, {name}: {fault}" for fault in verdict.faults]
        for number, count in measured.items():
            # A page that nobody could measure exactly has not been judged.
            if count < len(self.places[number - 1]):
                judgement.faults.append(f"page {number}: only {count} of "
                                        f"{len(self.places[number - 1])} fiducials measured")
        if check_structure:
            judgement.faults += structure.faults(self.path, target, self.password, password)
        return judgement

    def password_of(self, target):
        """The password that opens the output, if it needs one."""
        for password in (None, self.password, self.entry.get("owner")):
            try:
                with pikepdf.open(target, password=password or ""):
                    return password
            except pikepdf.PasswordError:
                continue
        raise pikepdf.PasswordError(f"{target}: no known password opens it")
