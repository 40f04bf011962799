"""QR codes: the project's in an independent decoder, an independent encoder's in the project."""

import itertools

import cv2
import numpy
import segno
import zxingcpp

import printing
import with_opencv
from agreement import sheet_of
from tympan import Field, Tympan, farthest

MODULES = 25  # version 2, ISO/IEC 18004


def decoded(picture):
    """{text: (corners, symbol's version, error correction)} by zxing-cpp."""
    found = zxingcpp.read_barcodes(picture, formats=zxingcpp.BarcodeFormat.QRCode)
    return {code.text: code for code in found}


def corners(code):
    """The corners of a decoded symbol: top left, top right, bottom right, bottom left."""
    place = code.position
    return numpy.array([(p.x, p.y) for p in (place.top_left, place.top_right, place.bottom_right,
                                             place.bottom_left)], dtype=float)


def drawn_trial(program, folder):
    """Every page of test sheets holds its two codes, and they say what they should."""
    faults, count = [], 0
    for flip, letter in (("sideways", "S"), ("endways", "E")):
        tympan = Tympan(program, folder / f"codes-{flip}", flip, sheets=2)
        pages = printing.render(tympan.pdf, 200)
        setup = None
        for index, page in enumerate(pages):
            side, sheet = "FB"[index // 2], index % 2 + 1
            texts = decoded(page)
            wanted = [f"TYMPAN1/{side}{end}{letter}/21000X29700/{sheet}/" for end in "HF"]
            for head in wanted:
                match = [text for text in texts if text.startswith(head)]
                if len(match) != 1:
                    faults.append(f"page {index + 1}: no {head}… in {sorted(texts)}")
                    continue
                count += 1
                setup = setup or match[0][len(head):]
                if match[0] != head + setup:
                    faults.append(f"page {index + 1}: {match[0]} is of another set-up")
                # The head's code stands at the upper left, the foot's at the lower right.
                x, y = corners(texts[match[0]]).mean(axis=0) / page.shape[::-1]
                if ("H" in head[8:10]) != (x < 0.5 and y < 0.5):
                    faults.append(f"page {index + 1}: {head} stands at {x:.2f}, {y:.2f}")
    return faults, f"{count} codes read by zxing-cpp"


def pasted(page):
    """The page with its codes drawn anew by segno from the same texts."""
    page, count = page.copy(), 0
    for text, code in decoded(page).items():
        symbol = segno.make_qr(text, version=2, error="m", boost_error=False)
        modules = numpy.array([[0 if bit else 255 for bit in row]
                               for row in symbol.matrix_iter(scale=1, border=0)], numpy.uint8)
        assert modules.shape == (MODULES, MODULES)
        # The symbol is drawn square with the page: its true corners are where its ink begins.
        x0, y0, x1, y1 = box_of_ink(page, corners(code))
        big = cv2.resize(modules, (1000, 1000), interpolation=cv2.INTER_NEAREST)
        page[y0:y1, x0:x1] = cv2.resize(big, (x1 - x0, y1 - y0), interpolation=cv2.INTER_AREA)
        count += 1
    return page, count


def box_of_ink(page, square):
    """The exact box of a symbol's dark modules near its decoded corners, px."""
    (x0, y0), (x1, y1) = square.min(axis=0) - 12, square.max(axis=0) + 13
    x0, y0, x1, y1 = (int(v) for v in (x0, y0, x1, y1))
    ys, xs = numpy.nonzero(page[y0:y1, x0:x1] < 128)
    return x0 + xs.min(), y0 + ys.min(), x0 + xs.max() + 1, y0 + ys.max() + 1


def encoded_trial(program, folder):
    """A sheet whose codes were made by segno reads like the sheet itself."""
    tympan = Tympan(program, folder / "segno", "sideways", 1)
    sheet, _ = sheet_of(tympan, 1, "left")
    (sheet.front, fronts), (sheet.back, backs) = pasted(sheet.front), pasted(sheet.back)
    if (fronts, backs) != (2, 2):
        return [f"{fronts} and {backs} codes were pasted over"], ""
    files = []
    for side in ("front", "back"):
        files.append(tympan.folder / f"{side}.png")
        cv2.imwrite(str(files[-1]), printing.scan(sheet, side, 200))
    told, refused = tympan.read(*files)
    if refused or len(told) != 1:
        return [f"not read: {refused}"], ""
    off = farthest(Field(told[0]["field"]).error_at, sheet.register_error)
    return ([f"{off:.3f} mm off"] if off > 0.04 else []), f"{off:.3f} mm from the truth"


def scans_trial(program, folder):
    """Codes of the project on a scan, blurred and noisy, in both independent decoders."""
    tympan = Tympan(program, folder / "scanned-codes", "sideways", 1)
    sheet, _ = sheet_of(tympan)
    picture = printing.scan(sheet, "back", 150)
    texts = sorted(decoded(picture))
    faults = [] if len(texts) == 2 else [f"zxing-cpp reads {texts}"]
    # OpenCV overlooks some codes at one resolution that it reads at another; the set-up's code, and
    # so the symbol, is another each time.
    finer = (printing.scan(sheet, "back", dpi) for dpi in (200, 300))
    read = (sorted(with_opencv.codes_in(each)) for each in itertools.chain([picture], finer))
    by_opencv = next(filter(None, read), [])
    if not set(by_opencv) <= set(texts) or not by_opencv:
        faults.append(f"OpenCV reads {by_opencv}, zxing-cpp {texts}")
    return faults, f"{len(texts)} by zxing-cpp, {len(by_opencv)} by OpenCV"


def trials(program, folder):
    """(name, faults, what was measured) of every trial."""
    yield "codes drawn by Tympan", *drawn_trial(program, folder)
    yield "codes on a scan", *scans_trial(program, folder)
    yield "codes made by segno", *encoded_trial(program, folder)
