"""The bench that the proofs work on: where their files go, the programs and the Python they need."""

import hashlib
import os
import shutil
import subprocess
import sys
import venv
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent.parent
TARGET = Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target")).resolve()
REFEREES = TARGET / "referees"


def need_programs(programs):
    """Stops with the remedy when a program is missing; `programs` tells each one's package."""
    missing = sorted({package for program, package in programs.items()
                      if shutil.which(program) is None})
    if missing:
        print("missing programs; install them with:\n"
              f"  apt-get install -y --no-install-recommends {' '.join(missing)}")
        print("0 passed, 1 failed")
        sys.exit(1)


def print_page(html, path, folder):
    """Prints an HTML file to PDF as Chromium does, with a profile of its own in `folder`."""
    subprocess.run(
        ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic",
         "--no-first-run", "--disable-background-networking", "--disable-component-update",
         "--disable-sync", f"--user-data-dir={folder}/profile", "--no-pdf-header-footer",
         f"--print-to-pdf={path}", html.as_uri()],
        check=True, capture_output=True, timeout=180)


def enter_venv(requirements=HERE / "requirements.txt"):
    """Goes on in a private Python with the pinned packages, made the first time."""
    wanted = requirements.read_bytes()
    folder = REFEREES / f"python-{hashlib.sha256(wanted).hexdigest()[:12]}"
    python = folder / "bin" / "python"
    if Path(sys.prefix) == folder:
        return
    ready = folder / "ready"
    if not ready.exists():
        print(f"installing the referees into {folder}", flush=True)
        venv.create(folder, with_pip=True, clear=True)
        subprocess.run([python, "-m", "pip", "install", "--quiet", "--requirement",
                        requirements], check=True)
        ready.touch()
    environment = dict(os.environ, PYTHONDONTWRITEBYTECODE="1")
    os.execve(python, [str(python), *sys.argv], environment)
