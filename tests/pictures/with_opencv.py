"""Reads test sheets with OpenCV alone: codes, connected components, centroids, RANSAC maps, camera
calibration and template matching. What a test sheet looks like is found in its own PDF, rendered by
poppler; nothing is shared with the program under test."""

import cv2
import numpy

from printing import A4, at, flip_matrix, pixels

MARK_MM = 5.0  # as wide as a mark is on the rendered page; found there, checked in `marks_of`
GEOMETRY_DPI = 300


class Unread(Exception):
    """The referee itself cannot read a picture."""


def components(dark, px_per_mm, least_mm, most_mm):
    """Round dark things whose boxes are so wide and so high: their boxes and areas, px."""
    count, _, stats, _ = cv2.connectedComponentsWithStats(dark.astype(numpy.uint8))
    least, most = least_mm * px_per_mm, most_mm * px_per_mm
    for x, y, w, h, area in stats[1:count]:
        if least <= w <= most and least <= h <= most and abs(w - h) < 0.12 * max(w, h):
            yield (x, y, w, h), area


def centroid(light, box, around):
    """The middle of what is dark in a box and a little around it, weighted by darkness: in pixels
    of which the first's middle is 0."""
    x, y, w, h = box
    grown = [max(0, x - around), max(0, y - around), x + w + around, y + h + around]
    part = light[grown[1]:grown[3], grown[0]:grown[2]].astype(float)
    paper, ink = numpy.percentile(part, 90), numpy.percentile(part, 5)
    weight = numpy.clip((paper - part) / max(paper - ink, 1.0) - 0.08, 0, 1)
    total = weight.sum()
    ys, xs = numpy.mgrid[grown[1]:grown[3], grown[0]:grown[2]]
    return (weight * xs).sum() / total, (weight * ys).sum() / total


def marks_of(page, dpi=GEOMETRY_DPI):
    """(discs, rings): where the rendered page has its marks, mm."""
    px_per_mm = dpi / 25.4
    discs, rings = [], []
    for box, area in components(page < 128, px_per_mm, MARK_MM * 0.95, MARK_MM * 1.05):
        x, y = centroid(page, box, 3)
        full = area / (numpy.pi / 4 * box[2] * box[3])
        place = ((x + 0.5) / px_per_mm, (y + 0.5) / px_per_mm)
        if full > 0.95:
            discs.append(place)
        elif 0.65 < full < 0.85:
            rings.append(place)
    return numpy.array(discs).reshape(-1, 2), numpy.array(rings).reshape(-1, 2)


def codes_in(picture, longest=2200):
    """{text: four corners} of the QR codes in a picture, px."""
    factor = max(1.0, max(picture.shape) / longest)
    small = cv2.resize(picture, None, fx=1 / factor, fy=1 / factor, interpolation=cv2.INTER_AREA)
    found, texts, corners, _ = cv2.QRCodeDetector().detectAndDecodeMulti(small)
    return {text: (c + 0.5) * factor - 0.5 for text, c in zip(texts, corners) if text} \
        if found else {}


class Page:
    """What a page of the test sheet's PDF shows."""

    def __init__(self, rendered, dpi=GEOMETRY_DPI):
        self.discs, self.rings = marks_of(rendered, dpi)
        self.codes = {text: (c + 0.5) * 25.4 / dpi for text, c in codes_in(rendered).items()}

    @property
    def marks(self):
        """This side's own marks: a front has discs, a back has rings."""
        return self.discs if len(self.discs) > len(self.rings) else self.rings


def rough_map(picture, page):
    """From the page's mm to pixels, by the codes' corners."""
    found = codes_in(picture)
    pairs = [(page.codes[text], corners) for text, corners in found.items() if text in page.codes]
    if not pairs:
        raise Unread(f"OpenCV reads no code of this page in the picture, but {list(found)}")
    source, target = (numpy.concatenate([p[k] for p in pairs]) for k in (0, 1))
    if len(pairs) == 1:
        matrix, _ = cv2.estimateAffine2D(source, target)
        return numpy.vstack([matrix, [0, 0, 1]])
    return cv2.findHomography(source, target)[0]


def found_marks(picture, page):
    """Pairs of places: mm on the page, pixels in the picture."""
    rough = rough_map(picture, page)
    middle = numpy.array(A4) / 2
    step = [numpy.subtract(at(rough, *(middle + d)), at(rough, *middle)) for d in ((1, 0), (0, 1))]
    px_per_mm = numpy.mean([numpy.hypot(*s) for s in step])
    # The paper's own tone near every place, from a small copy of the picture.
    small = cv2.resize(picture, None, fx=0.125, fy=0.125, interpolation=cv2.INTER_AREA)
    reach = max(3, int(7 * px_per_mm / 8))
    ground = cv2.blur(cv2.dilate(small, numpy.ones((reach, reach))), (reach, reach))
    ground = cv2.resize(ground, picture.shape[::-1], interpolation=cv2.INTER_LINEAR)
    dark = cv2.compare(picture, cv2.convertScaleAbs(ground, alpha=0.6), cv2.CMP_LT) > 0
    centres = numpy.array([centroid(picture, box, round(0.4 * px_per_mm))
                           for box, _ in components(dark, px_per_mm, 4.3, 5.6)])
    for reach in (3.0, 0.8):
        pairs = []
        for mark in page.marks:
            off = centres - at(rough, *mark)
            nearest = numpy.hypot(*off.T).argmin()
            if numpy.hypot(*off[nearest]) < reach * px_per_mm:
                pairs.append((mark, centres[nearest]))
        source, target = (numpy.array([p[k] for p in pairs]) for k in (0, 1))
        rough, kept = cv2.findHomography(source, target, cv2.RANSAC, 0.5 * px_per_mm)
    kept = kept.ravel() > 0
    if kept.sum() < 20:
        raise Unread(f"only {kept.sum()} marks")
    return source[kept], target[kept], px_per_mm


def affine_of(picture, page):
    """The map from the page's mm to the pixels of a scan, and pixels to the mm."""
    source, target, px_per_mm = found_marks(picture, page)
    matrix, _ = cv2.estimateAffine2D(source, target, method=cv2.RANSAC,
                                     ransacReprojThreshold=0.1 * px_per_mm, refineIters=50)
    return numpy.vstack([matrix, [0, 0, 1]]), px_per_mm


def holes_in(picture, to_page, px_per_mm):
    """Punched holes: dark and round, 6 mm across, near an edge of the page. Pixels."""
    inverse = numpy.linalg.inv(to_page)
    found = []
    for box, area in components(picture < 90, px_per_mm, 5.2, 6.8):
        x, y = centroid(picture, box, round(0.4 * px_per_mm))
        u, v = at(inverse, x, y)
        near = min(u, A4[0] - u, v, A4[1] - v)
        if -2 < near < 18 and area > 0.7 * box[2] * box[3]:
            found.append((x, y))
    return numpy.array(found).reshape(-1, 2)


def corners_in(picture, to_page, px_per_mm):
    """The sheet's corners against a dark ground, from lines fitted to its edges. Pixels, in the
    order top left, top right, bottom right, bottom left of the page."""
    blurred = cv2.GaussianBlur(picture, None, 0.06 * px_per_mm).astype(numpy.float32)
    w, h = A4
    lines = []
    for start, end, inward in [((0, 0), (w, 0), (0, 1)), ((w, 0), (w, h), (-1, 0)),
                               ((w, h), (0, h), (0, -1)), ((0, h), (0, 0), (1, 0))]:
        points = []
        for share in numpy.linspace(0.06, 0.94, 180):
            place = numpy.array(start) * (1 - share) + numpy.array(end) * share
            depth = numpy.arange(-7, 7, 0.02)
            line = numpy.array([at(to_page, *(place + d * numpy.array(inward)))
                                for d in depth[::50]])
            xs = numpy.interp(depth, depth[::50], line[:, 0]).astype(numpy.float32)
            ys = numpy.interp(depth, depth[::50], line[:, 1]).astype(numpy.float32)
            tone = cv2.remap(blurred, xs[None], ys[None], cv2.INTER_LINEAR,
                             borderMode=cv2.BORDER_REPLICATE)[0]
            half = (tone[:50].mean() + tone[-50:].mean()) / 2
            over = numpy.flatnonzero((tone[1:] >= half) & (tone[:-1] < half))
            if len(over) == 1 and tone[-50:].mean() - tone[:50].mean() > 60:
                points.append((xs[over[0]], ys[over[0]]))
        if len(points) < 60:
            raise Unread("an edge cannot be seen")
        lines.append(cv2.fitLine(numpy.array(points), cv2.DIST_HUBER, 0, 0.01, 0.01).ravel())
    corners = []
    for k in range(4):
        (ax, ay, px, py), (bx, by, qx, qy) = lines[k - 1], lines[k]
        t = numpy.linalg.solve([[ax, -bx], [ay, -by]], [qx - px, qy - py])[0]
        corners.append((px + t * ax, py + t * ay))
    return numpy.array(corners)


def two_scans(front, back, pages, flip, by):
    """The register error as a function of the place, from a scan of each side."""
    (to_front, scale), (to_back, _) = (affine_of(p, q) for p, q in zip((front, back), pages))
    turn = flip_matrix(flip)
    if by == "holes":
        ours, theirs = (holes_in(p, m, scale) for p, m in ((front, to_front), (back, to_back)))
        # A hole is behind the one that the pages put nearest to it.
        guess = to_front @ turn @ numpy.linalg.inv(to_back)
        moved = numpy.array([at(guess, *hole) for hole in theirs])
        pairs = [(hole, theirs[numpy.hypot(*(moved - hole).T).argmin()]) for hole in ours]
        if len(pairs) < 3:
            raise Unread(f"only {len(pairs)} holes")
        ours, theirs = (numpy.array([p[k] for p in pairs]) for k in (0, 1))
    else:
        ours, theirs = (corners_in(p, m, scale) for p, m in ((front, to_front), (back, to_back)))
        # The front's top left corner is the top right one of a back flipped sideways.
        theirs = theirs[[1, 0, 3, 2] if flip == "sideways" else [3, 2, 1, 0]]
    # Mirrored, the back's scan only has to be turned and shifted.
    mirror = numpy.diag([-1.0, 1, 1])
    mirrored = numpy.array([at(mirror, *p) for p in theirs])
    link, _ = cv2.estimateAffinePartial2D(mirrored, ours, method=cv2.LMEDS)
    link = numpy.vstack([link, [0, 0, 1]]) @ mirror
    whole = numpy.linalg.inv(to_front) @ link @ to_back @ turn

    def error(x, y):
        there = at(whole, x, y)
        return there[0] - x, there[1] - y
    return error


def photo(picture, page, other, flip, caliper_mm):
    """The register error as a function of the place, from one photo of the front against the
    light: the camera by calibration on the front's marks, the back's marks by template."""
    source, target, _ = found_marks(picture, page)
    height, width = picture.shape
    flat = numpy.column_stack([source - numpy.array(A4) / 2, numpy.zeros(len(source))])
    first = numpy.array([[width, 0, (width - 1) / 2], [0, width, (height - 1) / 2], [0, 0, 1.0]])
    flags = (cv2.CALIB_USE_INTRINSIC_GUESS | cv2.CALIB_FIX_PRINCIPAL_POINT
             | cv2.CALIB_FIX_ASPECT_RATIO | cv2.CALIB_ZERO_TANGENT_DIST | cv2.CALIB_FIX_K3)
    left, camera, lens, turns, shifts = cv2.calibrateCamera(
        [flat.astype(numpy.float32)], [target.astype(numpy.float32)], (width, height), first, None,
        flags=flags)
    if left > 2:
        raise Unread(f"the camera does not fit: {left:.2f} px")
    # The sheet as if it lay before one, 8 pixels to the mm.
    scale = 8.0
    xs, ys = numpy.meshgrid((numpy.arange(round(A4[0] * scale)) + 0.5) / scale,
                            (numpy.arange(round(A4[1] * scale)) + 0.5) / scale)
    plane = numpy.column_stack([xs.ravel() - A4[0] / 2, ys.ravel() - A4[1] / 2,
                                numpy.zeros(xs.size)])
    seen, _ = cv2.projectPoints(plane, turns[0], shifts[0], camera, lens)
    seen = seen.reshape(*xs.shape, 2).astype(numpy.float32)
    light = cv2.remap(picture, seen[..., 0], seen[..., 1], cv2.INTER_CUBIC).astype(numpy.float32)
    light /= cv2.GaussianBlur(cv2.medianBlur(light.astype(numpy.uint8), 81), None, 20) + 1.0
    pattern = ring_pattern(scale)
    half = pattern.shape[0] // 2
    nominal = numpy.array([at(flip_matrix(flip), *mark) for mark in other.marks])
    reach = round(4 * scale)
    scores = []
    for x, y in nominal:
        cx, cy = round(x * scale - 0.5), round(y * scale - 0.5)
        edge = half + reach
        window = light[cy - edge:cy + edge + 1, cx - edge:cx + edge + 1]
        scores.append(cv2.matchTemplate(window, pattern, cv2.TM_CCOEFF_NORMED))
    together = numpy.median(scores, axis=0)
    peak = numpy.unravel_index(together.argmax(), together.shape)
    places, errors = [], []
    for (x, y), score in zip(nominal, scores):
        top, side = peak[0] - 8, peak[1] - 8
        near = score[top:top + 17, side:side + 17]
        row, column = numpy.unravel_index(near.argmax(), near.shape)
        if not (0 < row < 16 and 0 < column < 16) or near.max() < 0.25:
            continue
        dx, dy = parabola(near[row, column - 1:column + 2]), parabola(near[row - 1:row + 2, column])
        cx, cy = round(x * scale - 0.5), round(y * scale - 0.5)
        places.append((x, y))
        errors.append(((cx - reach + side + column + dx + 0.5) / scale - x,
                       (cy - reach + top + row + dy + 0.5) / scale - y))
    if len(places) < 12:
        raise Unread(f"only {len(places)} marks of the other side")
    # The far face is seen a little nearer to the foot of the camera than it is.
    rotation, _ = cv2.Rodrigues(turns[0])
    eye = -rotation.T @ shifts[0].ravel()
    foot, away = eye[:2] + numpy.array(A4) / 2, abs(eye[2])
    places, errors = numpy.array(places), numpy.array(errors)
    errors += (places - foot) * caliper_mm / away
    field, _ = cv2.estimateAffine2D(places, places + errors, method=cv2.RANSAC,
                                    ransacReprojThreshold=0.15, refineIters=50)

    def error(x, y):
        there = field @ numpy.array([x, y, 1.0])
        return there[0] - x, there[1] - y
    return error


def ring_pattern(scale):
    """A soft dark ring as wide as the marks of the back, on light ground."""
    half = round(4.2 * scale)
    ys, xs = numpy.mgrid[-half:half + 1, -half:half + 1] / scale
    radius = numpy.hypot(xs, ys)
    ring = 1.0 - ((radius > MARK_MM / 4) & (radius < MARK_MM / 2))
    return cv2.GaussianBlur(ring.astype(numpy.float32), None, 0.4 * scale)


def parabola(three):
    """Where a parabola through three neighbours has its peak, from the middle one."""
    a, b, c = (float(v) for v in three)
    return 0.5 * (a - c) / (a - 2 * b + c)


__all__ = ["Page", "Unread", "codes_in", "two_scans", "photo", "pixels"]
