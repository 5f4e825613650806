"""The command line: ``crosscompat`` or ``python -m crosscompat``."""

from __future__ import annotations

import sys

from crosscompat.cli.app import app

__all__ = ["main"]


def main() -> None:
    """Run the command line; a console without × or é prints a stand-in rather than failing."""
    for stream in (sys.stdout, sys.stderr):
        stream.reconfigure(errors="replace")  # type: ignore[union-attr]
    app(prog_name="crosscompat")


if __name__ == "__main__":
    main()
