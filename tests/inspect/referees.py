"""Independent figures about the same files: ink by Ghostscript, resolution by poppler, text by
pdfium."""

import re
import subprocess

import pypdfium2
from pypdfium2 import raw


def run(*command):
    """What a program prints."""
    done = subprocess.run([str(part) for part in command], capture_output=True, timeout=180)
    if done.returncode:
        raise RuntimeError(f"{command[0]} failed: {done.stderr.decode(errors='replace')[-300:]}")
    return done.stdout.decode(errors="replace")


def ink(path):
    """Mean coverage of each page by cyan, magenta, yellow and black, in per cent."""
    # Plain formulas for colour, with all that is grey taken as black (PLRM, 7.2.3 and 7.2.4): what
    # the page asks for, not what one press's profile makes of it. Ghostscript inks every pixel that
    # a shape touches, so it must be fine.
    printed = run("gs", "-q", "-dBATCH", "-dNOPAUSE", "-dSAFER", "-sDEVICE=ink_cov", "-r300",
                  "-dUseCropBox", "-dUseFastColor=true", "-o", "-",
                  "-c", "{} setblackgeneration {} setundercolorremoval", "-f", path)
    return [[float(n) for n in line.split()[:4]] for line in printed.splitlines()
            if line.rstrip().endswith("CMYK OK")]


def pictures(path):
    """{page: [(ppi across, ppi down), ...]} of every placed picture."""
    found = {}
    for line in run("pdfimages", "-list", path).splitlines()[2:]:
        cells = line.split()
        # page num type width height color comp bpc enc interp object ID x-ppi y-ppi size ratio
        if cells[2] == "image":
            found.setdefault(int(cells[0]), []).append((int(cells[-4]), int(cells[-3])))
    return found


def smallest_text(path):
    """{page: points} of the smallest letters as placed on the page."""
    found = {}
    with pypdfium2.PdfDocument(str(path)) as document:
        for number, page in enumerate(document, 1):
            text = page.get_textpage()
            for index in range(text.count_chars()):
                if raw.FPDFText_GetUnicode(text, index) <= 32:
                    continue
                matrix = raw.FS_MATRIX()
                raw.FPDFText_GetMatrix(text, index, matrix)
                upright = (matrix.c ** 2 + matrix.d ** 2) ** 0.5
                size = raw.FPDFText_GetFontSize(text, index) * upright
                found[number] = min(size, found.get(number, size))
    return found


def numbers(string):
    """The numbers in a sentence."""
    return [float(n) for n in re.findall(r"\d+(?:\.\d+)?", string)]
