"""The command line: ``crosscompat`` or ``python -m crosscompat``."""

from __future__ import annotations

import gc
import os
import sys

from crosscompat.cli.app import app

__all__ = ["main"]

_OBJECTS_BETWEEN_SWEEPS = 100_000
"""A command ends soon and makes few cycles; looking for them every 700 objects took a tenth of its time."""


def main() -> None:
    """Run the command line; a console without × or é prints a stand-in rather than failing.

    When it ends nothing is looked through for cycles again, which took a twentieth of its time.
    """
    gc.set_threshold(_OBJECTS_BETWEEN_SWEEPS)
    _open_closed_streams()
    for stream in (sys.stdout, sys.stderr):
        stream.reconfigure(errors="replace")  # type: ignore[union-attr]
    try:
        app(prog_name="crosscompat")
    finally:
        gc.freeze()


def _open_closed_streams() -> None:
    """Point streams that were closed at nothing, before a file of the grower's takes their numbers."""
    for number, name in enumerate(("stdin", "stdout", "stderr")):
        if getattr(sys, name) is None:
            mode = os.O_RDONLY if name == "stdin" else os.O_WRONLY
            while (handle := os.open(os.devnull, mode)) < number:
                pass
            setattr(sys, name, os.fdopen(handle, "r" if name == "stdin" else "w"))


if __name__ == "__main__":
    main()
