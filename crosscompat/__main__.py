"""The command line: ``crosscompat`` or ``python -m crosscompat``."""

from __future__ import annotations

import gc
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
    for stream in (sys.stdout, sys.stderr):
        stream.reconfigure(errors="replace")  # type: ignore[union-attr]
    try:
        app(prog_name="crosscompat")
    finally:
        gc.freeze()


if __name__ == "__main__":
    main()
