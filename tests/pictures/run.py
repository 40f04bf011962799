#!/usr/bin/env python3
"""The proof on pictures: OpenCV, other coders of QR codes and hostile files judge `tympan read`.

    python3 tests/pictures/run.py [--full] [--tool target/debug/tympan] [--only PART]

It installs its Python packages into the target folder; it needs poppler's tools.
"""

import argparse
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.append(str(HERE.parent / "pdf"))
import venv_of  # noqa: E402
