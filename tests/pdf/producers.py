"""Pages of cards drawn by independent producers; each function writes one file and returns."""

import base64
import io
import shutil
import subprocess
import tempfile
from pathlib import Path

import cairocffi
import fpdf
import img2pdf
from PIL import Image
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen import canvas

import bench
import saltmarsh
from saltmarsh import A4, LETTER, PT, Line, Picture, Rect, Text


def reportlab_cards(path: Path):
    """A4 portrait and landscape pages with compressed streams."""
    sheet = canvas.Canvas(str(path), pageCompression=1, invariant=1)
    for number, size in enumerate([A4, A4, (A4[1], A4[0]), (A4[1], A4[0])], start=1):
        height = size[1]
        sheet.setPageSize((size[0] * PT, height * PT))
        for item in saltmarsh.card_page(size, number):
            match item:
                case Rect(x, y, w, h, rgb):
                    sheet.setFillColorRGB(*rgb)
                    sheet.rect(x * PT, (height - y - h) * PT, w * PT, h * PT, stroke=0, fill=1)
                case Line(x0, y0, x1, y1, width, rgb):
                    sheet.setStrokeColorRGB(*rgb)
                    sheet.setLineWidth(width * PT)
                    sheet.line(x0 * PT, (height - y0) * PT, x1 * PT, (height - y1) * PT)
                case Text(x, y, text_size, string):
                    sheet.setFillColorRGB(0, 0, 0)
                    sheet.setFont("Times-Roman", text_size * PT)
                    sheet.drawString(x * PT, (height - y) * PT, string)
                case Picture(x, y, w, h, jpeg):
                    picture = ImageReader(io.BytesIO(jpeg))
                    sheet.drawImage(picture, x * PT, (height - y - h) * PT, w * PT, h * PT)
        sheet.bookmarkPage(f"page{number}")
        sheet.addOutlineEntry(f"Sheet {number}", f"page{number}")
        sheet.showPage()
    sheet.save()


def cairo_cards(path: Path):
    """Letter pages with embedded subset fonts and a translucent wash."""
    surface = cairocffi.PDFSurface(str(path), LETTER[0] * PT, LETTER[1] * PT)
    context = cairocffi.Context(surface)
    for number in (1, 2):
        context.save()
        context.scale(PT, PT)
        for item in saltmarsh.card_page(LETTER, number):
            match item:
                case Rect(x, y, w, h, rgb):
                    context.set_source_rgb(*rgb)
                    context.rectangle(x, y, w, h)
                    context.fill()
                case Line(x0, y0, x1, y1, width, rgb):
                    context.set_source_rgb(*rgb)
                    context.set_line_width(width)
                    context.move_to(x0, y0)
                    context.line_to(x1, y1)
                    context.stroke()
                case Text(x, y, size, string):
                    context.set_source_rgb(0, 0, 0)
                    context.select_font_face("DejaVu Serif")
                    context.set_font_size(size * 0.8)
                    context.move_to(x, y)
                    context.show_text(string)
                case Picture(x, y, w, h, jpeg):
                    pixels = Image.open(io.BytesIO(jpeg)).convert("RGBA")
                    data = bytearray(pixels.tobytes("raw", "BGRa"))
                    image = cairocffi.ImageSurface(
                        cairocffi.FORMAT_ARGB32, pixels.width, pixels.height, data)
                    context.save()
                    context.translate(x, y)
                    context.scale(w / pixels.width, h / pixels.height)
                    context.set_source_surface(image)
                    context.paint()
                    context.restore()
        wash = cairocffi.LinearGradient(40, 0, 170, 0)
        wash.add_color_stop_rgba(0, 0.2, 0.4, 0.6, 0.0)
        wash.add_color_stop_rgba(1, 0.2, 0.4, 0.6, 0.5)
        context.set_source(wash)
        context.rectangle(40, 110, 130, 40)
        context.fill()
        context.restore()
        context.show_page()
    surface.finish()


def fpdf_cards(path: Path):
    """A4 pages by fpdf2 with a core font, a link and a text annotation."""
    document = fpdf.FPDF(unit="mm", format="A4")
    document.set_auto_page_break(False)
    for number in (1, 2, 3):
        document.add_page()
        for item in saltmarsh.card_page(A4, number):
            match item:
                case Rect(x, y, w, h, rgb):
                    document.set_fill_color(*(int(255 * c) for c in rgb))
                    document.rect(x, y, w, h, style="F")
                case Line(x0, y0, x1, y1, width, rgb):
                    document.set_draw_color(*(int(255 * c) for c in rgb))
                    document.set_line_width(width)
                    document.line(x0, y0, x1, y1)
                case Text(x, y, size, string):
                    document.set_font("Helvetica", size=size * PT)
                    document.text(x, y, string)
                case Picture(x, y, w, h, jpeg):
                    document.image(io.BytesIO(jpeg), x, y, w, h)
        document.link(40, 20, 60, 12, f"https://saltmarsh-ferry.invalid/{number}")
    document.output(str(path))


def img2pdf_scans(path: Path):
    """Pages that are one JPEG each, at 300 dpi: what a scanner program writes."""
    pages = []
    for number in (1, 2):
        size = (1748, 2480)
        image = saltmarsh.marsh_image(*size, seed=70 + number)
        scale = size[0] / 148
        paint = saltmarsh.ImageDraw.Draw(image)
        for cx, cy in saltmarsh.fiducial_centres(148, 210):
            for rect in saltmarsh.fiducial(cx, cy):
                box = [rect.x * scale, rect.y * scale,
                       (rect.x + rect.w) * scale - 1, (rect.y + rect.h) * scale - 1]
                paint.rectangle(box, fill=tuple(int(255 * c) for c in rect.rgb))
        pages.append(saltmarsh.jpeg(image, dpi=(300, 300)))
    path.write_bytes(img2pdf.convert(pages, nodate=True))


def svg_of(items, size):
    """The primitives as one SVG element, for the browser."""
    width, height = size
    parts = [f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm"'
             f' viewBox="0 0 {width} {height}">']

    def colour(rgb):
        return "rgb(" + ",".join(str(int(255 * c)) for c in rgb) + ")"

    for item in items:
        match item:
            case Rect(x, y, w, h, rgb):
                parts.append(f'<rect x="{x}" y="{y}" width="{w}" height="{h}"'
                             f' fill="{colour(rgb)}"/>')
            case Line(x0, y0, x1, y1, stroke, rgb):
                parts.append(f'<line x1="{x0}" y1="{y0}" x2="{x1}" y2="{y1}"'
                             f' stroke="{colour(rgb)}" stroke-width="{stroke}"/>')
            case Text(x, y, text_size, string):
                parts.append(f'<text x="{x}" y="{y}" font-size="{text_size * 0.8}"'
                             f' font-family="DejaVu Serif">{string}</text>')
            case Picture(x, y, w, h, jpeg):
                data = base64.b64encode(jpeg).decode()
                parts.append(f'<image x="{x}" y="{y}" width="{w}" height="{h}"'
                             f' href="data:image/jpeg;base64,{data}"/>')
    return "".join(parts) + "</svg>"


def browser_cards(path: Path):
    """Chromium's print-to-PDF of a page of SVG: a tagged file with form-free content."""
    pages = "".join(
        '<section style="page-break-after:always;height:297mm;overflow:hidden">'
        + svg_of(saltmarsh.card_page(A4, number), A4) + "</section>"
        for number in (1, 2))
    folder = Path(tempfile.mkdtemp())
    html = folder / "cards.html"
    html.write_text("<!doctype html><meta charset=utf-8><title>Saltmarsh Ferry</title>"
                    "<style>@page{size:210mm 297mm;margin:0}body{margin:0}svg{display:block}"
                    f"</style>{pages}")
    bench.print_page(html, path, folder)
    shutil.rmtree(folder)


def latex_cards(path: Path):
    """pdfTeX: Type 1 fonts, object streams, pictures included as JPEG."""
    folder = Path(tempfile.mkdtemp())
    body = []
    for number in (1, 2):
        height = A4[1]
        picture = []
        for index, item in enumerate(saltmarsh.card_page(A4, number)):
            match item:
                case Rect(x, y, w, h, (r, g, b)):
                    picture.append(rf"\put({x:.4f},{height - y - h:.4f})"
                                   rf"{{\textcolor[rgb]{{{r:.4f},{g:.4f},{b:.4f}}}"
                                   rf"{{\rule{{{w:.4f}mm}}{{{h:.4f}mm}}}}}}")
                case Line(x0, y0, x1, _, width, _):
                    picture.append(rf"\put({x0:.4f},{height - y0:.4f})"
                                   rf"{{\rule{{{x1 - x0:.4f}mm}}{{{width}mm}}}}")
                case Text(x, y, _, string):
                    picture.append(rf"\put({x:.4f},{height - y:.4f}){{{string}}}")
                case Picture(x, y, w, h, jpeg):
                    name = f"p{number}-{index}.jpg"
                    (folder / name).write_bytes(jpeg)
                    picture.append(rf"\put({x:.4f},{height - y - h:.4f})"
                                   rf"{{\includegraphics[width={w}mm,height={h}mm]{{{name}}}}}")
        body.append(r"\noindent\begin{picture}(210,297)(0,0)" + "\n"
                    + "\n".join(picture) + "\n" + r"\end{picture}\newpage")
    (folder / "cards.tex").write_text(
        r"\documentclass{article}\usepackage{graphicx}\usepackage{color}"
        r"\paperwidth=210mm\paperheight=297mm\pdfhorigin=0mm\pdfvorigin=0mm"
        r"\setlength{\hoffset}{0mm}\setlength{\voffset}{0mm}\setlength{\oddsidemargin}{0mm}"
        r"\setlength{\topmargin}{0mm}\setlength{\headheight}{0mm}\setlength{\headsep}{0mm}"
        r"\setlength{\topskip}{0mm}\setlength{\textwidth}{210mm}\setlength{\textheight}{300mm}"
        r"\setlength{\unitlength}{1mm}\pagestyle{empty}\begin{document}" + "\n"
        + "\n".join(body) + "\n" + r"\end{document}")
    subprocess.run(["pdflatex", "-interaction=batchmode", "cards.tex"], cwd=folder,
                   check=True, capture_output=True, timeout=120)
    shutil.move(folder / "cards.pdf", path)
    shutil.rmtree(folder)
