"""Write the whole book to tables."""

from __future__ import annotations

from pathlib import Path

from crosscompat.advice.sheets import Exported
from crosscompat.book.import_export.whole_book import WholeBook, book_in, write_book, write_summary
from crosscompat.cli.locate import collection_at
from crosscompat.cli.output import line, print_json
from crosscompat.collection.books import open_book
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

__all__ = ["run"]


def run(folder: Path | None, target: Path | None, crosses: Path | None, *, as_json: bool) -> None:
    """Write what is asked for and say what went out."""
    if target is None and crosses is None:
        raise WrongUse(say("export.which"))
    settings = collection_at(folder).settings
    store = open_book(folder or Path(), settings)
    with store.reading() as page:
        whole = book_in(page) if target else WholeBook((), {})
        if target:
            write_book(whole, target, invented=settings.invented)
        summary = write_summary(page, crosses, invented=settings.invented) if crosses else None
    store.engine.dispose()
    files = [str(path) for path in (target, crosses) if path]
    answer = Exported(files, len(whole.changes), sum(map(len, whole.entries.values())), summary)
    if as_json:
        print_json(answer)
        return
    if target:
        line(say("export.whole", target=str(target), n=answer.versions, changes=answer.changes))
    if summary is not None:
        line(say("export.summary", file=str(crosses), n=summary))
