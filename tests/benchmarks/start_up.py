"""Time whole commands from the shell beside importing the libraries that they cannot do without.

Run it as ``python tests/benchmarks/start_up.py [ROUNDS]``. Every command is timed from its start to its end, in turns
with its peer, so that a busy machine slows both alike; the ratio is that of the medians, the one in brackets that of
the best. Modules are compiled before, as they are in an installed package, and BLAS has one thread.
"""

from __future__ import annotations

import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

HOME = Path(__file__).resolve().parents[2]
TYPER = ("-c", "import typer")
NUMPY = ("-c", "import numpy, typer")
ASK = ("ask", "Echinocereus coccineus", "E. dasyacanthus", "-n", "4")


@dataclass(frozen=True)
class Job:
    name: str
    command: Sequence[str]
    peer: Sequence[str]
    folder: Path
    wanted: float | None = None


class Shell:
    """Runs Python as a fresh process would be, with everything compiled."""

    def __init__(self, compiled: Path) -> None:
        unusual = {"PYTHONDONTWRITEBYTECODE", "PYTHONUNBUFFERED", "CROSSCOMPAT_BOOK"}
        self.environment = {name: value for name, value in os.environ.items() if name not in unusual}
        self.environment |= {"PYTHONPYCACHEPREFIX": str(compiled), "PYTHONPATH": str(HOME), "OPENBLAS_NUM_THREADS": "1"}

    def run(self, words: Sequence[str], folder: Path) -> bytes:
        words = [sys.executable, *words]
        return subprocess.run(words, cwd=folder, env=self.environment, check=True, stdout=subprocess.PIPE).stdout

    def seconds(self, words: Sequence[str], folder: Path) -> float:
        start = time.perf_counter()
        self.run(words, folder)
        return time.perf_counter() - start


def ours(command: Sequence[str]) -> tuple[str, ...]:
    return ("-m", "crosscompat", *command)


def jobs(empty: Path, demo: Path, bookless: Path) -> list[Job]:
    pollinate = ("pollinate", "COC-F1", "DAS-1", "--count", "4", "--dry-run")
    return [
        Job("--help", ["--help"], TYPER, empty, 2),
        Job("ask, no collection", ASK, NUMPY, empty, 3),
        Job("ask, saved model, no book", ASK, NUMPY, bookless, 3),
        Job("ask, saved model and book", ASK, NUMPY, demo, 5),
        Job("rank", ("rank", "--partners-of", "COC-F1"), NUMPY, demo),
        Job("due", ("due", "--as-of", "2026-07-15"), NUMPY, demo),
        Job("pollinate --dry-run", pollinate, NUMPY, demo),
    ]


def main(rounds: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        shell, empty = Shell(place / "compiled"), place / "empty"
        empty.mkdir()
        shell.run(ours(["demo", "nursery", "--json"]), place)
        demo, bookless = place / "nursery", place / "bookless"
        shutil.copytree(demo, bookless)
        (bookless / "book.sqlite").unlink()
        sys.stdout.write(f"{'':30}{'ours':>9}{'peer':>9}   ratio (of the best)   at most\n")
        for job in jobs(empty, demo, bookless):
            sys.stdout.write(told(job, *timed(shell, job, rounds)) + "\n")
            sys.stdout.flush()


def timed(shell: Shell, job: Job, rounds: int) -> tuple[list[float], list[float]]:
    command, peer, found = ours(job.command), job.peer, ([], [])
    for _ in range(2):
        shell.run(command, job.folder)
        shell.run(peer, job.folder)
    for _ in range(rounds):
        found[0].append(shell.seconds(command, job.folder))
        found[1].append(shell.seconds(peer, job.folder))
    return found


def told(job: Job, mine: list[float], theirs: list[float]) -> str:
    own, other = statistics.median(mine), statistics.median(theirs)
    limit = f"{job.wanted:.0f} x" if job.wanted else ""
    ratios = f"{own / other:8.2f} x ({min(mine) / min(theirs):.2f} x)"
    return f"{job.name:30}{own * 1e3:6.0f} ms{other * 1e3:6.0f} ms{ratios}{limit:>12}"


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 15)
