"""Lists for `examples/impose`, and what it makes of them."""

import subprocess

import numpy as np

from tool import run_tool

IDENTITY = np.eye(3)


def shift(x, y):
    """A map of millimetres that only shifts."""
    return np.array([[1, 0, x], [0, 1, y], [0, 0, 1.0]])


def place(file, page, window, room, matrix, size, bleed=0.0, method="keep"):
    """The line that places this part of a page (None for the whole)."""
    part = "- - - -" if window is None else " ".join(f"{v:.9f}" for v in window)
    m = matrix
    numbers = [room, m[0, 0], m[0, 1], m[1, 0], m[1, 1], m[0, 2], m[1, 2], *size, bleed]
    return f"place {file} {page} {part} {' '.join(f'{v:.9f}' for v in numbers)} {method}"


def lay(tool, work, lines, name, passwords=()):
    """Writes the list and lays it; the output and how it ended."""
    job, target = work / f"{name}.job", work / f"{name}.pdf"
    target.unlink(missing_ok=True)
    words = [f"password {file} {word}" for file, word in passwords]
    job.write_text("\n".join([*words, *lines]) + "\n")
    return target, run_tool([tool, job, target], limit=False)


def complaints(path, but=()):
    """What qpdf finds wrong with a file, but for lines that say one of these."""
    done = subprocess.run(["qpdf", "--check", path], capture_output=True, text=True)
    if done.returncode == 0:
        return []
    lines = [line for line in done.stderr.splitlines()
             if line and "operation succeeded" not in line and not any(word in line for word in but)]
    return [f"qpdf --check: {line}" for line in lines]
