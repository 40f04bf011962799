"""The same pages after other programs have rewritten the file."""

import subprocess
from pathlib import Path

USER, OWNER = "heron", "ferryman"


def run(*command):
    """Runs a rewriting program; a failure of its own is a fault of the corpus."""
    result = subprocess.run([str(part) for part in command], capture_output=True, timeout=120)
    if result.returncode:
        raise RuntimeError(f"{command[0]}: {result.stderr.decode(errors='replace')[-400:]}")


def qpdf(source: Path, target: Path, *options):
    """qpdf with fixed ids."""
    run("qpdf", "--static-id", *options, source, target)


def ghostscript(source: Path, target: Path, *options):
    """Ghostscript's pdfwrite: everything re-emitted."""
    run("gs", "-q", "-dBATCH", "-dNOPAUSE", "-dSAFER", "-sDEVICE=pdfwrite", *options,
        f"-sOutputFile={target}", source)


def linearised(source: Path, target: Path):
    """Linearised: the first page's objects in front, hint streams."""
    qpdf(source, target, "--linearize")


def object_streams(source: Path, target: Path):
    """Objects and the cross-reference in streams."""
    qpdf(source, target, "--object-streams=generate")


def linearised_object_streams(source: Path, target: Path):
    """Both at once."""
    qpdf(source, target, "--linearize", "--object-streams=generate")


def user_password(source: Path, target: Path):
    """AES-256; opens with a password only."""
    qpdf(source, target, "--encrypt", USER, OWNER, "256", "--")


def user_password_aes128(source: Path, target: Path):
    """AES-128; opens with a password only."""
    qpdf(source, target, "--encrypt", USER, OWNER, "128", "--use-aes=y", "--")


def owner_allows_changes(source: Path, target: Path):
    """AES-128, opens without a password, copying refused but changes allowed."""
    qpdf(source, target, "--encrypt", "", OWNER, "128", "--use-aes=y", "--extract=n", "--")


def owner_forbids_changes(source: Path, target: Path):
    """AES-256, opens without a password, all changes refused."""
    qpdf(source, target, "--encrypt", "", OWNER, "256", "--modify=none", "--")


def both_passwords(source: Path, target: Path):
    """RC4 of 128 bits, a user password, and all changes refused."""
    qpdf(source, target, "--allow-weak-crypto", "--encrypt", USER, OWNER, "128", "--modify=none",
         "--use-aes=n", "--")


def old_version(source: Path, target: Path):
    """Ghostscript's PDF 1.4, pictures passed through."""
    ghostscript(source, target, "-dCompatibilityLevel=1.4", "-dPassThroughJPEGImages=true")


def modern(source: Path, target: Path):
    """Ghostscript's PDF 1.7."""
    ghostscript(source, target, "-dCompatibilityLevel=1.7")


def appended(source: Path, target: Path):
    """An incremental update by hand: the first page's content object is written anew."""
    import pikepdf

    data = source.read_bytes()
    with pikepdf.open(source) as pdf:
        page = pdf.Root.Pages.Kids[0]
        number, generation = page.Contents.objgen
        content = page.Contents.read_bytes() + b"% touched\n"
        size, root = int(pdf.trailer.Size), pdf.Root.objgen
    offset = len(data)
    body = (f"{number} {generation} obj\n<< /Length {len(content)} >>\nstream\n".encode()
            + content + b"endstream\nendobj\n")
    previous = int(data.rsplit(b"startxref", 1)[1].split()[0])
    xref = offset + len(body)
    table = (f"xref\n{number} 1\n{offset:010d} {generation:05d} n \ntrailer\n<< /Size {size} "
             f"/Root {root[0]} {root[1]} R /Prev {previous} >>\nstartxref\n{xref}\n%%EOF\n")
    target.write_bytes(data + body + table.encode())
