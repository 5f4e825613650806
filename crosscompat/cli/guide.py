"""The guide: one page a topic, plain Markdown files that come with the package."""

from __future__ import annotations

from importlib.resources import files
from typing import Annotated

import typer

from crosscompat.cli.output import line
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say


def topics() -> dict[str, str]:
    """Return the pages of the guide, by topic in the order of the alphabet.

    Examples
    --------
    >>> "chances" in topics()
    True
    """
    pages = [page for page in files("crosscompat.guide").iterdir() if page.name.endswith(".md")]
    return {page.name.removesuffix(".md"): page.read_text(encoding="utf-8") for page in sorted(pages, key=str)}


def guide(topic: Annotated[str | None, typer.Argument(metavar="TOPIC", help=say("help.guide_topic"))] = None) -> None:
    """Print a page, or list them."""
    pages = topics()
    if topic is None:
        for name, text in pages.items():
            line(say("guide.topic", topic=name.ljust(12), title=text.split("\n", 1)[0].removeprefix("# ")))
        line(say("guide.how"))
        return
    found = [name for name in pages if name.startswith(topic.casefold().replace(" ", "-"))]
    if len(found) != 1:
        raise WrongUse(say("guide.unknown", topic=topic, topics=", ".join(pages)))
    line(pages[found[0]].rstrip())
