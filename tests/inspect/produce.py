"""Writes cases as PDF files, with their truth as JSON beside them."""

import json
import shutil
import subprocess
import tempfile
from pathlib import Path

import pikepdf

import bench
import kinds
import paint
import webpage
from scene import PT, Group, Line, Picture


def flat(sides, path, dpi):
    """Every page one JPEG, as a scan or an export of pictures."""
    writer = paint.Reportlab(path)
    for side in sides:
        image = paint.raster(side.size, side.drawn(), dpi)
        writer.page(side.size, [Picture(0, 0, *side.size, image, 88)])
    writer.finish()


def browser(sides, path, style=""):
    """Chromium's print-to-PDF: of a page of SVG a sheet, or of the sheets' own HTML."""
    size = sides[0].size
    sections = "".join(
        side.html or f'<section style="page-break-after:always;height:{size[1]}mm;overflow:hidden">'
        + paint.svg(side.size, side.drawn()) + "</section>" for side in sides)
    with tempfile.TemporaryDirectory() as folder:
        html = Path(folder) / "cards.html"
        html.write_text("<!doctype html><meta charset=utf-8><title>Saltmarsh Ferry</title>"
                        f"<style>@page{{size:{size[0]}mm {size[1]}mm;margin:0}}body{{margin:0}}"
                        f"svg{{display:block}}{style}</style>{sections}")
        bench.print_page(html, path, folder)


def latex(sides, path):
    """pdfTeX: one \\includegraphics a card, rules for lines."""
    size = sides[0].size
    with tempfile.TemporaryDirectory() as folder:
        pages, count = [], 0
        for side in sides:
            put = []

            def place(items, dx, dy):
                nonlocal count
                for item in items:
                    match item:
                        case Group(inner, matrix):
                            across, down = (matrix[0, 2], matrix[1, 2]) if matrix is not None \
                                else (0, 0)
                            place(inner, dx + across, dy + down)
                        case Picture(x, y, w, h):
                            count += 1
                            Path(folder, f"p{count}.jpg").write_bytes(paint.jpeg(item))
                            put.append(rf"\put({x + dx:.5f},{size[1] - y - dy - h:.5f})"
                                       rf"{{\includegraphics[width={w:.5f}mm,height={h:.5f}mm]"
                                       rf"{{p{count}.jpg}}}}")
                        case Line(x0, y0, x1, y1, width):
                            left, low = min(x0, x1) + dx, size[1] - max(y0, y1) - dy
                            w, h = abs(x1 - x0), abs(y1 - y0)
                            if w == 0:
                                left, w = left - width / 2, width
                            else:
                                low, h = low - width / 2, width
                            put.append(rf"\put({left:.5f},{low:.5f})"
                                       rf"{{\rule{{{w:.5f}mm}}{{{h:.5f}mm}}}}")
                        case _:
                            raise ValueError(f"pdfTeX is not asked to draw {type(item).__name__}")

            place(side.items, 0, 0)
            pages.append(rf"\noindent\begin{{picture}}({size[0]},{size[1]})(0,0)" + "\n"
                         + "\n".join(put) + "\n" + r"\end{picture}\newpage")
        Path(folder, "cards.tex").write_text(
            r"\documentclass{article}\usepackage{graphicx}"
            rf"\paperwidth={size[0]}mm\paperheight={size[1]}mm\pdfhorigin=0mm\pdfvorigin=0mm"
            r"\setlength{\hoffset}{0mm}\setlength{\voffset}{0mm}\setlength{\oddsidemargin}{0mm}"
            r"\setlength{\topmargin}{0mm}\setlength{\headheight}{0mm}\setlength{\headsep}{0mm}"
            rf"\setlength{{\topskip}}{{0mm}}\setlength{{\textwidth}}{{{size[0]}mm}}"
            rf"\setlength{{\textheight}}{{{size[1] + 3}mm}}"
            r"\setlength{\unitlength}{1mm}\pagestyle{empty}\begin{document}" + "\n"
            + "\n".join(pages) + "\n" + r"\end{document}")
        subprocess.run(["pdflatex", "-interaction=batchmode", "cards.tex"], cwd=folder,
                       check=True, capture_output=True, timeout=120)
        shutil.move(Path(folder, "cards.pdf"), path)


def drawn(sides, path, producer):
    """Pages drawn by a library."""
    writer = paint.CairoFile(path) if producer == "cairo" else paint.Reportlab(path)
    for side in sides:
        writer.page(side.size, side.drawn())
    writer.finish()


def reboxed(sides, path):
    """Gives pages the boxes, the turn or the unit that their sides ask for; they look the same."""
    if not any(side.boxes for side in sides):
        return
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        for page, side in zip(pdf.pages, sides):
            rebox(pdf, page, side)
        pdf.save(path)


def rebox(pdf, page, side):
    """One page."""
    w, h = side.size[0] * PT, side.size[1] * PT
    matrix = None
    for way in side.boxes:
        match way:
            case "trim":
                bleed = side.boxes["trim"] * PT
                page.obj.TrimBox = [bleed, bleed, w - bleed, h - bleed]
                page.obj.BleedBox = [0, 0, w, h]
            case "offset":
                matrix, box = (1, 0, 0, 1, -37.5, 112), [-37.5, 112, w - 37.5, h + 112]
            case "crop":
                matrix, box = (1, 0, 0, 1, 30, 21), [0, 0, w + 55, h + 60]
                page.obj.CropBox = [30, 21, w + 30, h + 21]
            case "unit":
                matrix, box = (0.5, 0, 0, 0.5, 0, 0), [0, 0, w / 2, h / 2]
                page.obj.UserUnit = 2
            case "rotate90":
                matrix, box = (0, 1, -1, 0, h, 0), [0, 0, h, w]
                page.obj.Rotate = 90
            case "rotate270":
                matrix, box = (0, -1, 1, 0, 0, w), [0, 0, h, w]
                page.obj.Rotate = 270
            case "rotate180":
                matrix, box = (-1, 0, 0, -1, w, h), [0, 0, w, h]
                page.obj.Rotate = 180
    if matrix:
        before = "q " + " ".join(f"{n:.6f}" for n in matrix) + " cm"
        page.contents_add(before.encode(), prepend=True)
        page.contents_add(b"Q")
        page.obj.MediaBox = box


def write(sides, path, producer, dpi=None):
    """Writes the pages into a file."""
    match producer:
        case "flat":
            flat(sides, path, dpi)
        case "browser":
            browser(sides, path)
        case "webpage":
            browser(sides, path, webpage.STYLE)
        case "latex":
            latex(sides, path)
        case _:
            drawn(sides, path, producer)
    reboxed(sides, path)


def case(kind, seed, folder):
    """Writes one case into the folder and returns its truth; once made it is only read."""
    target = Path(folder) / f"{kind}-{seed:03}.json"
    if target.exists():
        return json.loads(target.read_text())
    file = kinds.make(kind, seed)
    write(file.sides, Path(folder) / f"{file.name}.pdf", file.producer, file.flattened)
    if file.back_sides:
        write(file.back_sides, Path(folder) / f"{file.name}-backs.pdf", file.producer,
              file.flattened)
    draft = target.with_suffix(".draft")
    draft.write_text(json.dumps(file.truth(), indent=1) + "\n")
    draft.replace(target)
    return json.loads(target.read_text())
