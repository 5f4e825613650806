"""The whole book, written to tables."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from crosscompat.cli.options import Folder, Json
from crosscompat.cli.output import give, line
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

if TYPE_CHECKING:
    from crosscompat.advice.sheets import Exported


def export(
    target: Annotated[Path | None, typer.Argument(metavar="DIR|FILE", help=say("help.export_target"))] = None,
    crosses: Annotated[Path | None, typer.Option("--crosses", metavar="FILE", help=say("help.export_crosses"))] = None,
    folder: Folder = None,
    *,
    as_json: Json = False,
) -> None:
    """Write what is asked for and say what went out."""
    from crosscompat.advice.sheets import Exported
    from crosscompat.book.import_export.whole_book import WholeBook, book_in, write_book, write_summary
    from crosscompat.cli.book.book_session import open_here

    if target is None and crosses is None:
        raise WrongUse(say("export.which"))
    with open_here(folder) as (settings, store), store.reading() as page:
        invented = settings.invented
        whole = book_in(page) if target else WholeBook((), {})
        if target:
            write_book(whole, target, invented=invented)
        summary = write_summary(page, crosses, invented=invented) if crosses else None
    files = [str(path) for path in (target, crosses) if path]
    answer = Exported(files, len(whole.changes), sum(map(len, whole.versions.values())), summary, invented)

    def printed(done: Exported) -> None:
        if target:
            line(say("export.whole", target=str(target), n=done.versions, changes=done.changes))
        if done.crosses is not None:
            line(say("export.summary", file=str(crosses), n=done.crosses))

    give(answer, printed, as_json=as_json)
