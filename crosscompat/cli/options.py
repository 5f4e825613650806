"""What many commands take: the options that they share, each said once."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Annotated, Any

import typer

from crosscompat.ground.wording import say

__all__ = [
    "DATE",
    "Anyway",
    "By",
    "Day",
    "DryRun",
    "Flowers",
    "Folder",
    "Json",
    "On",
    "Output",
    "Why",
    "count_option",
    "example",
    "text_option",
]

Folder = Annotated[Path | None, typer.Option("--collection", metavar="DIR", help=say("help.collection"))]
Json = Annotated[bool, typer.Option("--json", help=say("help.json"))]
Flowers = Annotated[int | None, typer.Option("--flowers", "-n", metavar="N", help=say("help.flowers"))]
Why = Annotated[bool, typer.Option("--why", help=say("help.why"))]
Output = Annotated[Path | None, typer.Option("-o", "--output", metavar="FILE", help=say("help.output"))]
Day = Annotated[
    datetime | None,
    typer.Option("--as-of", metavar="DATE", formats=["%Y-%m-%d"], help=say("help.as_of")),
]

On = Annotated[datetime | None, typer.Option("--on", metavar="DATE", formats=["%Y-%m-%d"], help=say("help.on"))]
By = Annotated[str | None, typer.Option("--by", metavar="WHO", help=say("help.by"))]
Anyway = Annotated[bool, typer.Option("--anyway", help=say("help.anyway"))]
DATE: dict[str, Any] = {"metavar": "DATE", "formats": ["%Y-%m-%d"]}
DryRun = Annotated[bool, typer.Option("--dry-run", help=say("help.dry_run"))]


def example(command: str) -> str:
    """Return the example that stands below the help of a command."""
    return say("help.example", command=say(f"help.examples.{command}"))


def count_option(name: str, help_of: str) -> Any:
    """Return an option that takes a count."""
    return typer.Option(f"--{name}", metavar="N", min=0, max=999_999_999, help=say(f"help.observe_{help_of}"))


def text_option(name: str, metavar: str, help_of: str) -> Any:
    """Return an option that takes words."""
    return typer.Option(f"--{name}", metavar=metavar, help=say(f"help.observe_{help_of}"))
