"""Painters: the same primitives by reportlab, by cairo (into a file or a picture) and as SVG."""

import base64
import io

import cairocffi
import numpy as np
from PIL import Image
from reportlab.lib.colors import Color
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen import canvas

from scene import PT, Disc, Group, Line, Picture, Rect, Shape, Text, Wash


def jpeg(picture):
    """The picture's image as JPEG bytes."""
    out = io.BytesIO()
    picture.image.convert("RGB").save(out, "JPEG", quality=picture.quality)
    return out.getvalue()


def six(matrix):
    """A map as the six numbers that PDF and SVG write, still with y down."""
    return tuple(float(matrix[row, column]) for column in range(3) for row in range(2))


def strips(wash, count=32):
    """A gradient as overlapping strips of plain colour."""
    made = []
    for n in range(count):
        top = n * wash.h / count
        part = n / (count - 1)
        rgb = tuple(a + (b - a) * part for a, b in zip(wash.top, wash.foot))
        made.append(Rect(wash.x, wash.y + top, wash.w, wash.h - top, rgb))
    return made


class Reportlab:
    """Draws pages with reportlab."""

    def __init__(self, path):
        self.sheet = canvas.Canvas(str(path), pageCompression=1, invariant=1)
        self.forms = set()
        self.in_form = False

    def page(self, size, items):
        """Draws one page."""
        self.sheet.setPageSize((size[0] * PT, size[1] * PT))
        self.sheet.saveState()
        self.sheet.transform(PT, 0, 0, -PT, 0, size[1] * PT)
        self.draw(items)
        self.sheet.restoreState()
        self.sheet.showPage()

    def finish(self):
        """Writes the file."""
        self.sheet.save()

    def draw(self, items):
        """Draws the items in the current space."""
        for item in items:
            self.one(item)

    def paint(self, item):
        """Sets colours; returns reportlab's flags for stroke and fill."""
        if item.fill:
            self.sheet.setFillColorRGB(*item.fill)
        if item.stroke:
            self.sheet.setStrokeColorRGB(*item.stroke)
            self.sheet.setLineWidth(item.width)
        return {"stroke": int(bool(item.stroke)), "fill": int(bool(item.fill))}

    def outline(self, rect):
        """The rectangle as a path."""
        path = self.sheet.beginPath()
        if rect.radius:
            path.roundRect(rect.x, rect.y, rect.w, rect.h, rect.radius)
        else:
            path.rect(rect.x, rect.y, rect.w, rect.h)
        return path

    def one(self, item):
        """Draws one item."""
        sheet = self.sheet
        match item:
            case Rect():
                sheet.drawPath(self.outline(item), **self.paint(item))
            case Shape(points):
                path = sheet.beginPath()
                path.moveTo(*points[0])
                for point in points[1:]:
                    path.lineTo(*point)
                path.close()
                sheet.drawPath(path, **self.paint(item))
            case Disc(x, y, r):
                sheet.circle(x, y, r, **self.paint(item))
            case Line(x0, y0, x1, y1, width, rgb):
                sheet.setStrokeColorRGB(*rgb)
                sheet.setLineWidth(width)
                sheet.line(x0, y0, x1, y1)
            case Text(x, y, size, string, rgb, bold):
                sheet.saveState()
                sheet.transform(1, 0, 0, -1, x, y)
                sheet.setFillColorRGB(*rgb)
                sheet.setFont("Helvetica-Bold" if bold else "Helvetica", size)
                sheet.drawString(0, 0, string)
                sheet.restoreState()
            case Picture(x, y, w, h):
                sheet.saveState()
                sheet.transform(1, 0, 0, -1, x, y + h)
                sheet.drawImage(ImageReader(io.BytesIO(jpeg(item))), 0, 0, w, h)
                sheet.restoreState()
            case Wash(x, y, w, h, top, foot):
                if self.in_form:  # reportlab leaves shadings out of a form's resources
                    self.draw(strips(item))
                    return
                sheet.saveState()
                sheet.clipPath(self.outline(Rect(x, y, w, h)), stroke=0, fill=0)
                sheet.linearGradient(x, y, x, y + h, (Color(*top), Color(*foot)))
                sheet.restoreState()
            case Group(items, matrix, clip, form):
                if form and form not in self.forms:
                    self.forms.add(form)
                    sheet.beginForm(form, -400, -400, 800, 800)
                    self.in_form = True
                    self.draw(items)
                    self.in_form = False
                    sheet.endForm()
                sheet.saveState()
                if matrix is not None:
                    sheet.transform(*six(matrix))
                if clip:
                    sheet.clipPath(self.outline(clip), stroke=0, fill=0)
                if form:
                    sheet.doForm(form)
                else:
                    self.draw(items)
                sheet.restoreState()


class Cairo:
    """Draws items into a cairo context whose unit is the millimetre, y down."""

    def __init__(self, context, embed_jpeg):
        self.context = context
        self.embed_jpeg = embed_jpeg

    def outline(self, rect):
        """The rectangle as the current path."""
        context, r = self.context, rect.radius
        if not r:
            context.rectangle(rect.x, rect.y, rect.w, rect.h)
            return
        quarter = np.pi / 2
        context.new_sub_path()
        context.arc(rect.x + rect.w - r, rect.y + r, r, -quarter, 0)
        context.arc(rect.x + rect.w - r, rect.y + rect.h - r, r, 0, quarter)
        context.arc(rect.x + r, rect.y + rect.h - r, r, quarter, 2 * quarter)
        context.arc(rect.x + r, rect.y + r, r, 2 * quarter, 3 * quarter)
        context.close_path()

    def paint(self, item):
        """Fills and strokes the current path."""
        if item.fill:
            self.context.set_source_rgb(*item.fill)
            self.context.fill_preserve()
        if item.stroke:
            self.context.set_source_rgb(*item.stroke)
            self.context.set_line_width(item.width)
            self.context.stroke_preserve()
        self.context.new_path()

    def draw(self, items):
        """Draws the items."""
        for item in items:
            self.one(item)

    def one(self, item):
        """Draws one item."""
        context = self.context
        match item:
            case Rect():
                self.outline(item)
                self.paint(item)
            case Shape(points):
                context.move_to(*points[0])
                for point in points[1:]:
                    context.line_to(*point)
                context.close_path()
                self.paint(item)
            case Disc(x, y, r):
                context.new_sub_path()
                context.arc(x, y, r, 0, 2 * np.pi)
                self.paint(item)
            case Line(x0, y0, x1, y1, width, rgb):
                context.set_source_rgb(*rgb)
                context.set_line_width(width)
                context.move_to(x0, y0)
                context.line_to(x1, y1)
                context.stroke()
            case Text(x, y, size, string, rgb, bold):
                weight = cairocffi.FONT_WEIGHT_BOLD if bold else cairocffi.FONT_WEIGHT_NORMAL
                context.select_font_face("DejaVu Sans", cairocffi.FONT_SLANT_NORMAL, weight)
                context.set_font_size(size)
                context.set_source_rgb(*rgb)
                context.move_to(x, y)
                context.show_text(string)
            case Picture(x, y, w, h):
                self.picture(item)
            case Wash(x, y, w, h, top, foot):
                wash = cairocffi.LinearGradient(x, y, x, y + h)
                wash.add_color_stop_rgb(0, *top)
                wash.add_color_stop_rgb(1, *foot)
                context.set_source(wash)
                context.rectangle(x, y, w, h)
                context.fill()
            case Group(items, matrix, clip):
                context.save()
                if matrix is not None:
                    context.transform(cairocffi.Matrix(*six(matrix)))
                if clip:
                    self.outline(clip)
                    context.clip()
                self.draw(items)
                context.restore()

    def picture(self, item):
        """Lays a picture over its rectangle."""
        context = self.context
        pixels = item.image.convert("RGBA")
        surface = cairocffi.ImageSurface(cairocffi.FORMAT_RGB24, *pixels.size,
                                         bytearray(pixels.tobytes("raw", "BGRA")))
        if self.embed_jpeg:
            surface.set_mime_data("image/jpeg", jpeg(item))
        context.save()
        context.translate(item.x, item.y)
        context.scale(item.w / pixels.width, item.h / pixels.height)
        context.set_source_surface(surface)
        context.get_source().set_extend(cairocffi.EXTEND_PAD)
        context.rectangle(0, 0, pixels.width, pixels.height)
        context.fill()
        context.restore()


class CairoFile:
    """Draws pages into a PDF with cairo."""

    def __init__(self, path):
        self.surface = cairocffi.PDFSurface(str(path), 10, 10)

    def page(self, size, items):
        """Draws one page."""
        self.surface.set_size(size[0] * PT, size[1] * PT)
        context = cairocffi.Context(self.surface)
        context.scale(PT, PT)
        Cairo(context, embed_jpeg=True).draw(items)
        context.show_page()

    def finish(self):
        """Writes the file."""
        self.surface.finish()


def raster(size, items, dpi, origin=(0.0, 0.0)):
    """The items on white as a Pillow image; `origin` is the place of its top left corner."""
    pixels = [max(1, round(length * dpi / 25.4)) for length in size]
    surface = cairocffi.ImageSurface(cairocffi.FORMAT_RGB24, *pixels)
    context = cairocffi.Context(surface)
    context.set_source_rgb(1, 1, 1)
    context.paint()
    context.scale(pixels[0] / size[0], pixels[1] / size[1])
    context.translate(-origin[0], -origin[1])
    Cairo(context, embed_jpeg=False).draw(items)
    surface.flush()
    array = np.frombuffer(surface.get_data(), np.uint8).reshape(
        pixels[1], surface.get_stride() // 4, 4)[:, :pixels[0], 2::-1]
    return Image.fromarray(np.ascontiguousarray(array))


def svg(size, items):
    """The items as one SVG element."""
    parts = [f'<svg xmlns="http://www.w3.org/2000/svg" width="{size[0]}mm" height="{size[1]}mm"'
             f' viewBox="0 0 {size[0]} {size[1]}">']
    names = iter(range(1_000_000))

    def colour(rgb):
        return "rgb(" + ",".join(f"{100 * c:.2f}%" for c in rgb) + ")" if rgb else "none"

    def paint(item):
        return (f' fill="{colour(item.fill)}" stroke="{colour(item.stroke)}"'
                f' stroke-width="{item.width}"/>')

    def rect(item):
        return (f'<rect x="{item.x}" y="{item.y}" width="{item.w}" height="{item.h}"'
                f' rx="{item.radius}"')

    def draw(items):
        for item in items:
            match item:
                case Rect():
                    parts.append(rect(item) + paint(item))
                case Shape(points):
                    joined = " ".join(f"{x},{y}" for x, y in points)
                    parts.append(f'<polygon points="{joined}"' + paint(item))
                case Disc(x, y, r):
                    parts.append(f'<circle cx="{x}" cy="{y}" r="{r}"' + paint(item))
                case Line(x0, y0, x1, y1, width, rgb):
                    parts.append(f'<line x1="{x0}" y1="{y0}" x2="{x1}" y2="{y1}"'
                                 f' stroke="{colour(rgb)}" stroke-width="{width}"/>')
                case Text(x, y, em, string, rgb, bold):
                    weight = "bold" if bold else "normal"
                    parts.append(f'<text x="{x}" y="{y}" font-size="{em}" fill="{colour(rgb)}"'
                                 f' font-weight="{weight}" font-family="DejaVu Sans">{string}'
                                 '</text>')
                case Picture(x, y, w, h):
                    data = base64.b64encode(jpeg(item)).decode()
                    parts.append(f'<image x="{x}" y="{y}" width="{w}" height="{h}"'
                                 f' preserveAspectRatio="none"'
                                 f' href="data:image/jpeg;base64,{data}"/>')
                case Wash(x, y, w, h, top, foot):
                    name = f"wash{next(names)}"
                    parts.append(
                        f'<linearGradient id="{name}" x1="0" y1="0" x2="0" y2="1">'
                        f'<stop offset="0" stop-color="{colour(top)}"/>'
                        f'<stop offset="1" stop-color="{colour(foot)}"/></linearGradient>'
                        f'<rect x="{x}" y="{y}" width="{w}" height="{h}" fill="url(#{name})"/>')
                case Group(inner, matrix, clip):
                    clipped = ""
                    if clip:
                        name = f"clip{next(names)}"
                        parts.append(f'<clipPath id="{name}">' + rect(clip) + "/></clipPath>")
                        clipped = f' clip-path="url(#{name})"'
                    where = ",".join(f"{n:.9f}" for n in six(matrix)) if matrix is not None else ""
                    through = f' transform="matrix({where})"' if where else ""
                    # The clip lies in the group's own space, so it goes on an inner element.
                    parts.append(f"<g{through}><g{clipped}>")
                    draw(inner)
                    parts.append("</g></g>")

    draw(items)
    return "".join(parts) + "</svg>"
