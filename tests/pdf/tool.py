"""Runs `tympan correct` under limits, and says how it ended."""

import resource
import subprocess
import time
from dataclasses import dataclass

CPU_SECONDS = 10  # CPU, not the clock's: the machine may be busy with other trials
WALL_SECONDS = 60
MEGABYTES = 512


@dataclass
class Outcome:
    """How one run of the tool ended."""

    code: int  # negative: killed by a signal; None: still running at the end of its time
    seconds: float
    output: str

    @property
    def breach(self):
        """What the tool must never do, whatever it was given; None when it did not."""
        if self.code is None:
            return f"still running after {self.seconds:.0f} s"
        if self.code < 0:
            return f"killed by signal {-self.code} after {self.seconds:.0f} s"
        if "panicked" in self.output:
            return "panicked"
        if self.code not in (0, 1):
            return f"exit code {self.code}"
        if self.code == 1 and len(self.output.strip()) < 10:
            return "refused without a reason"
        return None


def run_tool(command, limit=True):
    """Runs the command; with `limit` its address space and CPU time are bounded."""
    def bound():
        if limit:
            size = MEGABYTES << 20
            resource.setrlimit(resource.RLIMIT_AS, (size, size))
            resource.setrlimit(resource.RLIMIT_CPU, (CPU_SECONDS, CPU_SECONDS))

    start = time.monotonic()
    process = subprocess.Popen([str(part) for part in command], stdin=subprocess.DEVNULL,
                               stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
                               preexec_fn=bound)
    try:
        output, _ = process.communicate(timeout=WALL_SECONDS)
        code = process.returncode
    except subprocess.TimeoutExpired:
        process.kill()
        output, _ = process.communicate()
        code = None
    return Outcome(code, time.monotonic() - start, output.decode(errors="replace"))


def correct(tool, source, target, move, backs="even", password=None, **limits):
    """Asks the tool for a correction."""
    secret = ["--password", password] if password else []
    return run_tool([tool, "correct", source, "-o", target, *move.arguments(),
                     "--backs", backs, *secret], **limits)
