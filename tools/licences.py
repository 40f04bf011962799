#!/usr/bin/env python3
"""Refuses dependencies whose licence does not let them be linked into Tympan.

Reads `cargo metadata`; an SPDX expression is fine if, with its ORs and ANDs worked out, it can be
met with the licences below. Exits with 1 and names what is not.
"""

import json
import re
import subprocess
import sys

PERMISSIVE = {
    "MIT", "Apache-2.0", "BSD-2-Clause", "BSD-3-Clause", "ISC", "Zlib", "Unicode-3.0",
    "Unicode-DFS-2016", "0BSD", "CC0-1.0", "MIT-0", "BSL-1.0", "Unlicense", "Apache-2.0 WITH LLVM-exception",
    "OFL-1.1", "NCSA", "bzip2-1.0.6", "LicenseRef-UFL-1.0",
}


def allowed(expression: str) -> bool:
    """Works out an SPDX expression over the permissive set."""
    tokens = re.findall(r"\(|\)|[^\s()]+", expression.replace("/", " OR "))
    position = 0

    def peek():
        return tokens[position] if position < len(tokens) else None

    def take():
        nonlocal position
        position += 1
        return tokens[position - 1]

    def either():
        value = both()
        while peek() == "OR":
            take()
            value = both() or value
        return value

    def both():
        value = single()
        while peek() == "AND":
            take()
            value = single() and value
        return value

    def single():
        if peek() == "(":
            take()
            value = either()
            take()
            return value
        name = take()
        if peek() == "WITH":
            take()
            name = f"{name} WITH {take()}"
        return name in PERMISSIVE

    return either()


def main() -> int:
    out = subprocess.run(
        ["cargo", "metadata", "--format-version", "1", "--locked"], check=True, capture_output=True
    )
    packages = json.loads(out.stdout)["packages"]
    refused = [
        f"{p['name']} {p['version']}: {p['license'] or 'no licence stated'}"
        for p in packages
        if not (p["license"] and allowed(p["license"]))
    ]
    for line in refused:
        print(f"not permissive: {line}", file=sys.stderr)
    print(f"{len(packages) - len(refused)} of {len(packages)} packages are permissively licensed")
    return 1 if refused else 0


if __name__ == "__main__":
    sys.exit(main())
