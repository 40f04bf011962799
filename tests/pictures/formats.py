"""The same scans in every format, depth, colour, orientation and resolution: the same reading. What is
not read is refused with the way round."""

import io

import cv2
import numpy
from PIL import Image

import printing
from agreement import sheet_of
from tympan import Field, Tympan, farthest

DPI = 150
# A reading from another form of the same picture may differ by so much, mm.
SAME, LOSSY, COARSE = 0.006, 0.03, 0.12
ORIENTATION = 0x0112
# How a picture must be stored so that a viewer who obeys the EXIF orientation sees it upright.
STORED = {1: None, 2: Image.Transpose.FLIP_LEFT_RIGHT, 3: Image.Transpose.ROTATE_180,
          4: Image.Transpose.FLIP_TOP_BOTTOM, 5: Image.Transpose.TRANSPOSE,
          6: Image.Transpose.ROTATE_90, 7: Image.Transpose.TRANSVERSE,
          8: Image.Transpose.ROTATE_270}


def tinted(grey):
    """A colour picture of grey paper under a warm lamp."""
    rgb = numpy.stack([grey, grey * 0.98, grey * 0.95], axis=-1)
    return Image.fromarray(rgb.round().astype(numpy.uint8))


def with_alpha(grey):
    """The same with the ink opaque on clear paper."""
    image = Image.new("LA", grey.shape[::-1], 0)
    image.putalpha(Image.fromarray(255 - grey))
    return image


def sixteen(grey, channels=1):
    """16 bits to a channel, by OpenCV."""
    deep = grey.astype(numpy.uint16) * 257
    return deep if channels == 1 else cv2.merge([deep] * channels)


def by_pillow(kind, make, **options):
    """A way to write a picture with Pillow."""
    def write(grey, path):
        make(grey).save(path, kind, **options)
    return write


def by_opencv(make):
    """A way to write a picture with OpenCV."""
    def write(grey, path):
        if not cv2.imwrite(str(path), make(grey)):
            raise RuntimeError(f"OpenCV does not write {path}")
    return write


def oriented(number):
    """JPEG with an EXIF orientation."""
    def write(grey, path):
        image = Image.fromarray(grey)
        if STORED[number] is not None:
            image = image.transpose(STORED[number])
        exif = Image.Exif()
        exif[ORIENTATION] = number
        image.save(path, "JPEG", quality=95, exif=exif)
    return write


def mode(name):
    """A picture converted by Pillow."""
    return lambda grey: tinted(grey).convert(name)


PLAIN = Image.fromarray
# name: suffix, way to write, how far the reading may lie from that of the plain PNG, mm
FORMS = {
    "PNG, RGB": (".png", by_pillow("PNG", tinted), LOSSY),
    "PNG, palette": (".png", by_pillow("PNG", lambda g: PLAIN(g).convert("P")), LOSSY),
    "PNG, grey on clear": (".png", by_pillow("PNG", with_alpha), SAME),
    "PNG, RGBA": (".png", by_pillow("PNG", mode("RGBA")), LOSSY),
    "PNG, 16 bits": (".png", by_opencv(sixteen), SAME),
    "PNG, 16 bits RGB": (".png", by_opencv(lambda g: sixteen(g, 3)), SAME),
    "JPEG, grey": (".jpg", by_pillow("JPEG", PLAIN, quality=90), LOSSY),
    "JPEG, progressive 4:2:0": (".jpg", by_pillow("JPEG", tinted, quality=85, progressive=True),
                                LOSSY),
    "JPEG, CMYK": (".jpg", by_pillow("JPEG", mode("CMYK"), quality=92), LOSSY),
    "TIFF, LZW": (".tif", by_pillow("TIFF", PLAIN, compression="tiff_lzw"), SAME),
    "TIFF, deflate RGB": (".tif", by_pillow("TIFF", tinted, compression="tiff_adobe_deflate"),
                          LOSSY),
    "TIFF, PackBits": (".tif", by_pillow("TIFF", PLAIN, compression="packbits"), SAME),
    "TIFF, 16 bits": (".tif", by_opencv(sixteen), SAME),
    "WebP, lossless": (".webp", by_pillow("WEBP", PLAIN, lossless=True, quality=0, method=0), SAME),
    "WebP, lossy": (".webp", by_pillow("WEBP", tinted, quality=90, method=2), LOSSY),
    "PDF of JPEG scans": (".pdf", by_pillow("PDF", tinted, resolution=DPI, quality=92), LOSSY),
    **{f"JPEG, EXIF orientation {n}": (".jpg", oriented(n), LOSSY) for n in STORED},
}
RARE = {
    "TIFF, JPEG": (".tif", by_pillow("TIFF", PLAIN, compression="jpeg", quality=92), LOSSY),
    "TIFF, fax": (".tif", by_pillow("TIFF", lambda g: PLAIN(g).point(lambda v: 255 * (v > 140), "1"),
                                    compression="group4"), COARSE),
    "TIFF, CMYK": (".tif", by_pillow("TIFF", mode("CMYK"), compression="tiff_lzw"), LOSSY),
    "PNG, 1 bit": (".png", by_pillow("PNG", lambda g: PLAIN(g).point(lambda v: 255 * (v > 140), "1")),
                   COARSE),
}


class Formats:
    """The plain scans of one sheet, and what they say."""

    def __init__(self, program, folder):
        self.tympan = Tympan(program, folder / "formats", "sideways", 1)
        self.sheet, _ = sheet_of(self.tympan, 1, "left")
        self.scans = [printing.scan(self.sheet, side, DPI) for side in ("front", "back")]
        self.count = 0
        told, refused = self.read(".png", by_pillow("PNG", PLAIN))
        if refused or len(told) != 1:
            raise RuntimeError(f"the plain scans are not read: {refused}")
        self.plain = Field(told[0]["field"]).error_at

    def read(self, suffix, write, scans=None):
        """Writes both scans and has them read."""
        self.count += 1
        files = [self.tympan.folder / f"{self.count}-{side}{suffix}" for side in ("front", "back")]
        for file, scan in zip(files, scans or self.scans):
            write(scan, file)
        return self.tympan.read(*files)

    def judge(self, told, refused, limit):
        """(faults, what was measured)."""
        if refused or len(told) != 1:
            return [f"not read: {refused}"], ""
        off = farthest(Field(told[0]["field"]).error_at, self.plain)
        return ([f"{off:.3f} mm off"] if off > limit else []), f"{off:.4f} mm from the plain scans"

    def form(self, name, forms):
        """One form of the same scans."""
        suffix, write, limit = forms[name]
        return self.judge(*self.read(suffix, write), limit)

    def one_file(self, suffix):
        """Both sides as two pages of one file."""
        file = self.tympan.folder / f"both{suffix}"
        front, back = (PLAIN(scan) for scan in self.scans)
        options = {"resolution": DPI} if suffix == ".pdf" else {"compression": "tiff_lzw"}
        front.save(file, save_all=True, append_images=[back], **options)
        return self.judge(*self.tympan.read(file), LOSSY)

    def resolution(self, dpi):
        """The sheet scanned at another resolution."""
        scans = [printing.scan(self.sheet, side, dpi) for side in ("front", "back")]
        told, refused = self.read(".png", by_pillow("PNG", PLAIN), scans)
        return self.judge(told, refused, COARSE if dpi < 100 else LOSSY)

    def one_side(self, suffix, words, data):
        """A file that is refused alone, with a way round it."""
        file = self.tympan.folder / f"refused{suffix}"
        file.write_bytes(data)
        told, refused = self.tympan.read(file)
        said = " ".join(f"{r['refused']['message']} {r['refused']['hint']}" for r in refused)
        missing = [word for word in words if word not in said]
        return [f"\"{said}\" does not say {missing}"] if told or missing else [], said


def trials(program, folder, full=False):
    """(name, faults, what was measured) of every trial."""
    formats = Formats(program, folder)
    for forms in (FORMS, RARE):
        for name in forms:
            yield name, *formats.form(name, forms)
    yield "TIFF of two pages", *formats.one_file(".tif")
    yield "PDF of two pages", *formats.one_file(".pdf")
    for dpi in (75, 100, 600, 1200) if full else (75, 600):
        yield f"{dpi} dpi", *formats.resolution(dpi)
    heic = b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + bytes(200)
    yield "HEIC", *formats.one_side(".heic", ["HEIC", "JPEG"], heic)
    yield "AVIF", *formats.one_side(".avif", ["AVIF", "JPEG"],
                                    b"\0\0\0\x18ftypavif\0\0\0\0mif1avif" + bytes(200))
    gif = io.BytesIO()
    Image.new("L", (40, 40)).save(gif, "GIF")
    yield "GIF", *formats.one_side(".gif", ["GIF"], gif.getvalue())
    yield "no picture", *formats.one_side(".png", ["not a picture"], b"Saltmarsh Ferry" * 9)


