"""Judges what pictures cannot show: streams, fonts, operators, boxes, and other programs' checks."""

import hashlib
import re
import subprocess
from collections import Counter

import pikepdf
from pikepdf import Array, Dictionary, Stream

import reference

PAINTING = {
    "f": "path", "F": "path", "f*": "path", "B": "path", "B*": "path", "b": "path", "b*": "path",
    "S": "path", "s": "path", "sh": "shading", "Tj": "text", "TJ": "text", "'": "text",
    '"': "text", "INLINE IMAGE": "inline picture",
}


def open_any(path, passwords):
    """Opens the file with the first password that fits."""
    for password in [*passwords, ""]:
        try:
            return pikepdf.open(path, password=password or "")
        except pikepdf.PasswordError:
            continue
    raise pikepdf.PasswordError(f"{path}: no password fits")


def reachable_images(pdf):
    """A count of (hash of the raw bytes, filter, size) of every image that a page can reach."""
    found, seen = Counter(), set()
    stack = [pdf.Root.Pages]
    while stack:
        item = stack.pop()
        if isinstance(item, (Dictionary, Stream, Array)):
            if item.is_indirect:
                if item.objgen in seen:
                    continue
                seen.add(item.objgen)
        if isinstance(item, Stream) and item.get("/Subtype") == "/Image":
            raw = item.read_raw_bytes()
            found[hashlib.sha256(raw).hexdigest(), str(item.get("/Filter")),
                  int(item.Width), int(item.Height)] += 1
        if isinstance(item, Array):
            stack.extend(item)
        elif isinstance(item, (Dictionary, Stream)):
            stack.extend(item[key] for key in item.keys())
    return found


def count_operators(stream_or_page, resources, counts, depth=0, page_resources=None):
    """Adds what a content stream paints, forms followed, to `counts`."""
    if depth > 12:
        return
    try:
        instructions = pikepdf.parse_content_stream(stream_or_page)
    except pikepdf.PdfError:
        counts["unreadable"] += 1
        return
    for operands, operator in instructions:
        name = str(operator)
        kind = PAINTING.get(name)
        if kind:
            counts[kind] += 1
        elif name == "Do" and resources is not None:
            target = resources.get("/XObject", Dictionary()).get(str(operands[0]))
            if target is None:
                counts["missing object"] += 1
            elif target.get("/Subtype") == "/Image":
                counts["picture"] += 1
            else:
                inner = target.get("/Resources", page_resources)
                count_operators(target, inner, counts, depth + 1, page_resources)


def painted(page):
    """What a page paints with its visible annotations."""
    resources = reference.inherited(page, "/Resources")
    resources = resources if resources is not None else Dictionary()
    counts = Counter()
    contents = page.get("/Contents")
    if contents is not None and not (isinstance(contents, Array) and not len(contents)):
        count_operators(page, resources, counts, 0, resources)
    for annotation in page.get("/Annots", Array([])):
        look = reference.appearance(annotation)
        if look is not None and not int(annotation.get("/F", 0)) & 0x22:
            count_operators(look, look.get("/Resources", resources), counts, 1, resources)
    return counts


def page_frame(page):
    """What must not change about a page's sheet: its boxes, rotation and unit."""
    entries = {key: reference.inherited(page, key) for key in ("/MediaBox", "/CropBox", "/Rotate")}
    entries |= {key: page.get(key) for key in ("/TrimBox", "/BleedBox", "/ArtBox", "/UserUnit")}
    frame = {}
    for key, value in entries.items():
        if isinstance(value, Array):
            frame[key] = tuple(round(v, 3) for v in reference.box_of(value))
        else:
            frame[key] = None if value is None else float(value)
    frame["/Rotate"] = (frame["/Rotate"] or 0) % 360
    if frame["/CropBox"] is None:
        frame["/CropBox"] = frame["/MediaBox"]
    return frame


def output_of(*command):
    """(exit code, lines of stdout and stderr) of a checking program."""
    done = subprocess.run([str(part) for part in command], capture_output=True, timeout=180)
    text = (done.stdout + done.stderr).decode(errors="replace")
    return done.returncode, [line.strip() for line in text.splitlines() if line.strip()]


def qpdf_findings(path, password):
    """Warnings of `qpdf --check`, without file names, object numbers and offsets."""
    secret = [f"--password={password}"] if password else []
    code, lines = output_of("qpdf", "--check", *secret, path)
    if code == 0:
        return Counter()
    findings = (line for line in lines if "WARNING" in line or "ERROR" in line or "error" in line)
    return Counter(re.sub(r"\d+", "N", line.replace(str(path), "")) for line in findings)


def ghostscript_findings(path, password):
    """Errors and warnings of Ghostscript reading every page, without numbers."""
    secret = [f"-sPDFPassword={password}"] if password else []
    code, lines = output_of("gs", "-q", "-dBATCH", "-dNOPAUSE", "-dSAFER", "-sDEVICE=nullpage",
                            *secret, path)
    findings = Counter(re.sub(r"\d+", "N", line) for line in lines if "****" in line)
    if code:
        findings[f"exit code {code}"] += 1
    return findings


def poppler_findings(path, password):
    """Complaints of poppler's text extraction, which reads all content, without numbers."""
    secret = ["-upw", password] if password else []
    code, lines = output_of("pdftotext", *secret, path, "/dev/null")
    findings = Counter(re.sub(r"\d+", "N", line) for line in lines)
    if code:
        findings[f"exit code {code}"] += 1
    return findings


CHECKERS = {
    "qpdf --check": qpdf_findings, "ghostscript": ghostscript_findings,
    "poppler": poppler_findings,
}


def fonts(path, password):
    """Names, types and embedding of the fonts, by pdffonts."""
    secret = ["-upw", password] if password else []
    _, lines = output_of("pdffonts", *secret, path)
    # The last two columns are the object's number, which may change.
    return {tuple(line.split()[:-2]) for line in lines[2:]}


def words(path, password):
    """Each page's words in any order, by pdftotext."""
    secret = ["-upw", password] if password else []
    done = subprocess.run(["pdftotext", *secret, str(path), "-"], capture_output=True,
                          timeout=180)
    pages = done.stdout.decode(errors="replace").split("\f")
    return [Counter(page.split()) for page in pages]


def faults(source, target, source_password, target_password):
    """Every fault found by comparing the corrected file with its source."""
    found = []
    with open_any(source, [source_password]) as before, \
            open_any(target, [target_password]) as after:
        if len(before.pages) != len(after.pages):
            return [f"{len(before.pages)} pages became {len(after.pages)}"]
        old, new = reachable_images(before), reachable_images(after)
        if set(old) - set(new):
            found.append(f"{len(set(old) - set(new))} image streams lost or changed")
        if set(new) - set(old):
            found.append(f"{len(set(new) - set(old))} new image streams")
        for number, (was, now) in enumerate(zip(before.pages, after.pages), 1):
            if page_frame(was.obj) != page_frame(now.obj):
                found.append(f"page {number}: boxes, rotation or unit changed from "
                             f"{page_frame(was.obj)} to {page_frame(now.obj)}")
            old_paint, new_paint = painted(was.obj), painted(now.obj)
            if old_paint != new_paint:
                found.append(f"page {number}: painted {dict(old_paint)}, now {dict(new_paint)}")
            old_links, new_links = links(was.obj), links(now.obj)
            if old_links != new_links:
                found.append(f"page {number}: {old_links} links became {new_links}")
        if ("/Outlines" in before.Root) != ("/Outlines" in after.Root):
            found.append("the outline was lost")
        if layer_state(before) != layer_state(after):
            found.append("the layers' settings changed")
    old_fonts, new_fonts = fonts(source, source_password), fonts(target, target_password)
    if old_fonts != new_fonts:
        found.append(f"fonts changed: {sorted(old_fonts ^ new_fonts)}")
    old_words, new_words = words(source, source_password), words(target, target_password)
    for number, (was, now) in enumerate(zip(old_words, new_words), 1):
        if was != now:
            found.append(f"page {number}: words changed: {dict((was - now) + (now - was))}")
    for name, checker in CHECKERS.items():
        fresh = checker(target, target_password)
        fresh = {line for line in fresh if line not in checker(source, source_password)}
        if fresh:
            found.append(f"{name} finds something new: {sorted(fresh)[:3]}")
    return found


def links(page):
    """How many link annotations a page has."""
    return sum(a.get("/Subtype") == "/Link" for a in page.get("/Annots", Array([])))


def layer_state(pdf):
    """The names of the layers that are off."""
    properties = pdf.Root.get("/OCProperties")
    if properties is None:
        return None
    return sorted(str(group.Name) for group in properties.D.get("/OFF", Array([])))
