"""Runs the program under test in a data folder of its own, and understands its answers."""

import json
import math
import subprocess
import sys
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parent.parent / "pdf"))
import tool  # noqa: E402 - the limits under which the proof on PDFs runs programs

A4 = (210.0, 297.0)


class Tympan:
    """One set-up with test sheets, in a folder of its own."""

    def __init__(self, program, folder, flip="sideways", sheets=3):
        self.program, self.folder, self.flip = program, Path(folder), flip
        self.folder.mkdir(parents=True)
        self.run("setup", "new", "referee", "--paper", "a4", "--flip", flip)
        self.pdf = self.folder / "test-sheets.pdf"
        self.run("testsheet", "--setup", "referee", "--sheets", str(sheets), "-o", self.pdf)
        self.sheets = sheets

    def run(self, *args):
        """Runs a command that must succeed; its stdout."""
        command = [self.program, "--data", self.folder / "data", *args]
        done = subprocess.run([str(part) for part in command], capture_output=True, text=True)
        if done.returncode:
            raise RuntimeError(f"{command}: {done.stderr}")
        return done.stdout

    def read(self, *files, setup="referee"):
        """What `read --json` says of these pictures: (sheets, refused)."""
        command = [self.program, "--data", self.folder / "data", "read", "--json", "--again",
                   "--setup", setup, *files]
        done = subprocess.run([str(part) for part in command], capture_output=True, text=True)
        if done.returncode not in (0, 1) or not done.stdout:
            raise RuntimeError(f"exit {done.returncode}: {done.stdout}{done.stderr}")
        told = json.loads(done.stdout)
        return told.get("sheets", []), told.get("refused", [])

    def read_limited(self, *files):
        """Reads under limits of memory and time, for hostile files."""
        command = [self.program, "--data", self.folder / "data", "read", "--json", "--again",
                   "--setup", "referee", *files]
        return tool.run_tool(command)


class Field:
    """The affine field that the documentation of `read --json` describes, about A4's centre."""

    def __init__(self, told):
        self.shift = (told["shift_mm"]["x"], told["shift_mm"]["y"])
        self.tilt = math.radians(told["tilt_deg"])
        self.stretch = [told["stretch_percent"][axis] / 100 for axis in "xy"]
        self.shear = math.tan(math.radians(told["shear_deg"]))

    def error_at(self, x, y):
        """The register error at a place of the front, mm."""
        qx, qy = x - A4[0] / 2, y - A4[1] / 2
        sx, sy = self.stretch
        ux, uy = (1 + sx) * qx + self.shear * (1 + sy) * qy, (1 + sy) * qy
        cos, sin = math.cos(self.tilt), math.sin(self.tilt)
        return (self.shift[0] + cos * ux - sin * uy - qx,
                self.shift[1] + sin * ux + cos * uy - qy)


# Where registers are compared: the middle, and places near the corners and edges of A4, mm.
PLACES = [(105.0, 148.5), (25.0, 25.0), (185.0, 25.0), (25.0, 272.0), (185.0, 272.0),
          (105.0, 25.0), (25.0, 148.5)]


def farthest(one, other):
    """The largest distance of two fields (functions of x, y) over the places, mm."""
    return max(math.dist(one(*place), other(*place)) for place in PLACES)
