"""Pictures of every kind and mode: the pixels on the sheet are those in the file."""

import io
from pathlib import Path

import numpy as np
import pikepdf
from PIL import Image, ImageCms, ImageOps

import referee
import sheet

# Pixels across and down, laid at 150 to the inch.
SIZE = (90, 60)
# The sheets are drawn with this many pixels for each of the picture's, and looked at in the middle
# of each: renderers put pictures on whole pixels, one way or the other.
FINE = 5
MM = 25.4 / 150
FRAME = 10  # pixels of white around the picture


def scene(mode="RGB", size=SIZE):
    """Ramps and blocks, the same way up in no orientation."""
    w, h = size
    x, y = np.meshgrid(np.arange(w) / w, np.arange(h) / h)
    red, green, blue = 255 * x, 255 * y, 255 * (1 - x)
    picture = np.stack([red, green, blue], axis=2).astype(np.uint8)
    picture[5:20, 5:40] = (240, 20, 30)
    picture[40:55, 60:85] = (20, 30, 200)
    return Image.fromarray(picture).convert(mode)


def with_opacity(mode):
    """A scene with a see-through block and a half see-through one."""
    clear = scene("RGB").convert("RGBA")
    pixels = np.array(clear)
    pixels[25:35, 10:50, 3] = 0
    pixels[25:35, 50:80, 3] = 128
    return Image.fromarray(pixels).convert(mode)


def wide():
    """A scene of 16 bits of grey."""
    return Image.fromarray((np.array(scene("L")).astype(np.uint16) * 257))


def key():
    """RGB with one colour that is not painted."""
    return scene(), {"transparency": (240, 20, 30)}


def srgb():
    """A colour profile with something of its own in it."""
    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def oriented(number):
    """Stored so that it is seen upright only if Exif's orientation is heeded."""
    undo = {1: None, 2: Image.Transpose.FLIP_LEFT_RIGHT, 3: Image.Transpose.ROTATE_180,
            4: Image.Transpose.FLIP_TOP_BOTTOM, 5: Image.Transpose.TRANSPOSE,
            6: Image.Transpose.ROTATE_90, 7: Image.Transpose.TRANSVERSE,
            8: Image.Transpose.ROTATE_270}[number]
    picture = scene() if undo is None else scene().transpose(undo)
    exif = Image.Exif()
    exif[0x0112] = number
    return picture, {"exif": exif}


# name: (format, a picture, options for saving, grey levels that it may be off)
SAMPLES = {
    "png-rgb": ("png", scene, {}, 1),
    "png-grey": ("png", lambda: scene("L"), {}, 1),
    "png-bilevel": ("png", lambda: scene("1"), {}, 1),
    "png-palette": ("png", lambda: scene().quantize(50), {}, 1),
    "png-palette-4-bits": ("png", lambda: scene().quantize(11), {"bits": 4}, 1),
    "png-palette-clear": ("png", lambda: with_opacity("RGBA").quantize(40), {}, 2),
    "png-rgba": ("png", lambda: with_opacity("RGBA"), {}, 2),
    "png-grey-alpha": ("png", lambda: with_opacity("LA"), {}, 2),
    "png-16-bits": ("png", wide, {}, 1),
    "png-colour-key": ("png", key, {}, 1),
    "png-profile": ("png", scene, {"icc_profile": srgb}, 6),
    "jpeg-rgb": ("jpg", scene, {"quality": 95}, 6),
    "jpeg-progressive": ("jpg", scene, {"quality": 95, "progressive": True}, 6),
    "jpeg-grey": ("jpg", lambda: scene("L"), {"quality": 95}, 3),
    "jpeg-plain-rgb": ("jpg", scene, {"quality": 95, "keep_rgb": True}, 3),
    "jpeg-ink": ("jpg", lambda: scene("CMYK"), {"quality": 95}, 8),
    "jpeg-profile": ("jpg", scene, {"quality": 95, "icc_profile": srgb}, 8),
    "tiff-rgb": ("tif", scene, {"compression": "tiff_lzw"}, 1),
    "tiff-deflate": ("tif", scene, {"compression": "tiff_deflate"}, 1),
    "tiff-grey": ("tif", lambda: scene("L"), {}, 1),
    "tiff-bilevel-fax": ("tif", lambda: scene("1"), {"compression": "group4"}, 1),
    "tiff-rgba": ("tif", lambda: with_opacity("RGBA"), {}, 2),
    "tiff-ink": ("tif", lambda: scene("CMYK"), {"compression": "tiff_lzw"}, 3),
    "tiff-profile": ("tif", scene, {"icc_profile": srgb}, 6),
    "webp": ("webp", scene, {"quality": 90}, 4),
    "webp-lossless": ("webp", scene, {"lossless": True}, 1),
    "webp-alpha": ("webp", lambda: with_opacity("RGBA"), {"lossless": True, "exact": True}, 2),
    "webp-profile": ("webp", scene, {"lossless": True, "icc_profile": srgb}, 6),
    **{f"jpeg-orientation-{n}": ("jpg", lambda n=n: oriented(n), {"quality": 95}, 6)
       for n in range(1, 9)},
    "png-orientation-6": ("png", lambda: oriented(6), {}, 1),
    "webp-orientation-8": ("webp", lambda: oriented(8), {"lossless": True}, 1),
}


def judge(name, tool, work: Path):
    """Lays a sample at its pixels, and compares what is seen with what Pillow decodes."""
    kind, make, options, off = SAMPLES[name]
    made = make()
    picture, more = made if isinstance(made, tuple) else (made, {})
    options = {k: v() if callable(v) else v for k, v in {**options, **more}.items()}
    path = work / f"{name}.{kind}"
    picture.save(path, **options)
    size = (SIZE[0] * MM, SIZE[1] * MM)
    around = f"page {(SIZE[0] + 2 * FRAME) * MM:.9f} {(SIZE[1] + 2 * FRAME) * MM:.9f}"
    at = sheet.shift(FRAME * MM, FRAME * MM)
    lines = [around, sheet.place(path, 1, None, 0, at, size)]
    target, outcome = sheet.lay(tool, work, lines, name)
    if outcome.code != 0:
        return [f"exit code {outcome.code}: {outcome.output}"]
    faults = sheet.complaints(target)
    for renderer in ("poppler", "pdfium"):
        page = drawn(renderer, target).astype(int)
        seen = page[FRAME:FRAME + SIZE[1], FRAME:FRAME + SIZE[0]]
        meant = decoded(path, renderer, work).astype(int)
        difference = np.abs(seen - meant).max(axis=2)
        if difference.max() > off + 2:
            faults.append(f"{renderer}: {(difference > off + 2).mean():.1%} of the pixels differ, "
                          f"the most by {difference.max()}")
        page[FRAME:FRAME + SIZE[1], FRAME:FRAME + SIZE[0]] = 255
        if page.min() < 250:
            faults.append(f"{renderer}: something lies outside the picture's place")
    return faults + kept(path, target, kind, options)


def drawn(renderer, path):
    """The first page, the middle of each of the picture's pixels."""
    sizes = referee.page_sizes(path)
    referee.DPI = 150 * FINE
    draw = {"poppler": referee.by_poppler, "pdfium": referee.upright_pdfium}[renderer]
    pixels = draw(path, sizes)[0].pixels
    wide, high = SIZE[0] + 2 * FRAME, SIZE[1] + 2 * FRAME
    return pixels[FINE // 2::FINE, FINE // 2::FINE][:high, :wide]


def decoded(path, renderer, work):
    """What the picture shows on white: as Pillow decodes it, ink as the renderer shows it."""
    with Image.open(path) as file:
        upright = ImageOps.exif_transpose(file)
        if upright.mode == "CMYK":
            return ink(path, renderer, work)
        if upright.mode.startswith("I;16"):
            upright = Image.fromarray((np.array(upright) // 257).astype(np.uint8))
        clear = upright.convert("RGBA")
    white = Image.new("RGBA", clear.size, "white")
    return np.array(Image.alpha_composite(white, clear).convert("RGB"))


def ink(path, renderer, work):
    """A picture in four inks as the renderer shows it when pikepdf embeds the plain samples."""
    with Image.open(path) as file:
        samples = np.array(file)
    pdf = pikepdf.new()
    image = pikepdf.Stream(pdf, samples.tobytes(), pikepdf.Dictionary(
        Type=pikepdf.Name.XObject, Subtype=pikepdf.Name.Image, Width=SIZE[0], Height=SIZE[1],
        ColorSpace=pikepdf.Name.DeviceCMYK, BitsPerComponent=8))
    w, h, frame = (pixels * 72 / 150 for pixels in (*SIZE, FRAME))
    page = pdf.add_blank_page(page_size=(w + 2 * frame, h + 2 * frame))
    page.obj.Resources = pikepdf.Dictionary(XObject=pikepdf.Dictionary(Im=pdf.make_indirect(image)))
    page.obj.Contents = pdf.make_stream(f"{w} 0 0 {h} {frame} {frame} cm /Im Do".encode())
    plain = work / f"{path.stem}-ink.pdf"
    pdf.save(plain)
    return drawn(renderer, plain)[FRAME:FRAME + SIZE[1], FRAME:FRAME + SIZE[0]]


def kept(path, target, kind, options):
    """JPEG bytes and profiles, byte for byte; each picture once."""
    faults = []
    with pikepdf.open(target) as pdf:
        images = [item for item in pdf.objects
                  if isinstance(item, pikepdf.Stream) and item.get("/Subtype") == "/Image"]
        pictures = [item for item in images if "/SMask" in item or len(images) == 1]
        if len(pictures) != 1 or len(images) > 2:
            return [f"{len(images)} images in the file"]
        if kind == "jpg" and pictures[0].read_raw_bytes() != path.read_bytes():
            faults.append("the JPEG's bytes changed")
        profile = options.get("icc_profile")
        space = pictures[0].ColorSpace
        if profile:
            got = space[1].read_bytes() if isinstance(space, pikepdf.Array) else None
            with Image.open(io.BytesIO(path.read_bytes())) as file:
                if got != file.info["icc_profile"]:
                    faults.append("the colour profile is lost or changed")
    return faults
