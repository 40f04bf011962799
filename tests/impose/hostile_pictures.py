"""Pictures cut off and spoilt: a sheet or a reason, within bounds."""

import random
import resource
import subprocess
from pathlib import Path

import pictures
import sheet

KINDS = ["png-rgb", "png-rgba", "png-palette-clear", "jpeg-rgb", "jpeg-profile", "tiff-rgb",
         "tiff-ink", "tiff-bilevel-fax", "webp-lossless", "webp-alpha", "svg"]
SPOILT_JPEG = ("error decoding stream data", "stream will be re-processed", "Corrupt JPEG")
CPU_SECONDS, MEGABYTES = 10, 1024

SVG = b"""<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="80mm" viewBox="0 0 60 80">
<defs><linearGradient id="g"><stop offset="0" stop-color="#a00"/><stop offset="1"/></linearGradient>
<clipPath id="c"><circle cx="30" cy="40" r="20"/></clipPath></defs>
<g clip-path="url(#c)"><rect width="60" height="80" fill="url(#g)"/></g>
<use href="#c"/><path d="M 0 0 L 10 10 C 1 2 3 4 5 6 z" stroke="#00f" stroke-width="2"/></svg>"""

# Small files that ask for much.
BOMBS = {
    "svg-entities": b"""<?xml version="1.0"?><!DOCTYPE s [<!ENTITY a "<g/>">"""
    + b"".join(b'<!ENTITY a%d "%s">' % (n, b"&a%s;" % (str(n - 1).encode() if n else b"") * 10)
               for n in range(12)) + b"""]><svg xmlns="http://www.w3.org/2000/svg" width="9"
    height="9">&a11;</svg>""",
    "svg-uses": b'<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><g id="u0"><rect '
    b'width="1" height="1"/></g>' + b"".join(
        b'<g id="u%d">%s</g>' % (n, b'<use href="#u%d"/>' % (n - 1) * 10) for n in range(1, 9))
    + b"</svg>",
    "svg-itself": b'<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><g id="a"><use '
    b'href="#a"/></g></svg>',
    "svg-wide": b'<svg xmlns="http://www.w3.org/2000/svg" width="1e30" height="1e30"/>',
    "svg-deep": b'<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9">'
    + b"<g>" * 100_000 + b"</g>" * 100_000 + b"</svg>",
}


def judge(kind, tool, work: Path, full):
    """Damages one sample in many ways."""
    if kind == "svg":
        name, whole = "svg", SVG
    else:
        name, make, options, _ = pictures.SAMPLES[kind]
        made = make()
        picture, more = made if isinstance(made, tuple) else (made, {})
        path = work / f"whole-{kind}.{name}"
        picture.save(path, **{k: v() if callable(v) else v for k, v in {**options, **more}.items()})
        whole = path.read_bytes()
    luck = random.Random(kind)
    spoilt = [whole[:luck.randrange(1, len(whole))] for _ in range(40 if full else 6)]
    for _ in range(120 if full else 18):
        data = bytearray(whole)
        # Heads matter more than pixels.
        for _ in range(luck.choice([1, 1, 4])):
            reach = luck.choice([64, 400, len(data)])
            data[luck.randrange(min(reach, len(data)))] = luck.choice([0, 1, 127, 128, 255])
        spoilt.append(bytes(data))
    if kind == "svg":
        spoilt += BOMBS.values()
    faults = []
    for number, data in enumerate(spoilt):
        fault = trial(tool, work, f"{kind}-{number}.{name}", data)
        faults += [f"{kind} {number}: {fault}"] if fault else []
    return faults


def trial(tool, work, name, data):
    """What is wrong with how one run ended."""
    path, job, target = work / name, work / f"{name}.job", work / f"{name}.pdf"
    path.write_bytes(data)
    job.write_text("page 100 120\n" + sheet.place(
        path, 1, None, 0, sheet.shift(10, 10), (60, 80), 3, "mirror") + "\n")

    def bound():
        resource.setrlimit(resource.RLIMIT_AS, (MEGABYTES << 20, MEGABYTES << 20))
        resource.setrlimit(resource.RLIMIT_CPU, (CPU_SECONDS, CPU_SECONDS))

    done = subprocess.run([tool, job, target], capture_output=True, text=True, preexec_fn=bound)
    if done.returncode not in (0, 1) or "panicked" in done.stderr:
        return f"exit code {done.returncode}: {done.stderr[-200:]}"
    if done.returncode == 1:
        if target.exists() or list(work.glob(f".{name}*")):
            return "a refusal left something behind"
        return None if len(done.stderr.strip()) > 15 else "refused without a reason"
    # The bytes of a JPEG are not decoded on their way; a spoilt one looks as it does in viewers.
    spoilt = SPOILT_JPEG if name.startswith("jpeg") else ()
    return "; ".join(sheet.complaints(target, but=spoilt)) or None
