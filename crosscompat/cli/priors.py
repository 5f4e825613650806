"""Print what is believed before a single cross of the grower's own."""

from __future__ import annotations

from pathlib import Path

from crosscompat.advice.priors import PriorTable, prior_table
from crosscompat.cli.locate import collection_at
from crosscompat.cli.output import columns, line, paragraph, print_json, screen_width
from crosscompat.collection.settings import FILE_NAME
from crosscompat.ground.wording import say
from crosscompat.model.prior import published
from crosscompat.show.chances import percent

__all__ = ["print_priors", "run"]

_INDENT = 2


def run(folder: Path | None, *, as_json: bool) -> None:
    """Print the priors of the collection here, or the published ones where there is none."""
    notices: tuple[str, ...] = ()
    if folder is None and not Path(FILE_NAME).is_file():
        table = prior_table(published())
    else:
        collection = collection_at(folder)
        table, notices = prior_table(collection.priors, fruit=collection.settings.fruit_word), collection.notices
    if as_json:
        print_json(table)
        return
    print_priors(table)
    for notice in notices:
        paragraph(notice)


def print_priors(table: PriorTable) -> None:
    """Print the chances that the priors give, then the priors themselves with what each leans on."""
    paragraph(say("priors.own_rows", n=table.own) if table.own else say("priors.all_shipped"))
    line()
    paragraph(say("priors.by_themselves"))
    _print_chances(table)
    line()
    paragraph(say("priors.logits"))
    for row in table.coefficients:
        numbers = say("priors.give_or_take", mean=f"{row.mean:+.2f}", sd=f"{row.sd:.2f}")
        _print_row(row.words, numbers, row.basis, row.evidence)
    line()
    paragraph(say("priors.differ"))
    for effect in table.effects:
        _print_row(effect.words, f"{effect.scale:.2f}", effect.basis, effect.evidence)


def _print_chances(table: PriorTable) -> None:
    """Print the chances as a table, or stage after stage where the screen is too narrow for one."""
    ages = [say("priors.millions", millions=f"{age:g}") for age in table.millions]
    rows = [[row.words, *(percent(chance.mean) for chance in row.chances)] for row in table.chances]
    lines = columns([[say("priors.stage"), *ages], *rows], right=range(1, len(ages) + 1))
    if max(map(len, lines)) + _INDENT <= screen_width():
        for text in lines:
            line(" " * _INDENT + text)
        return
    for words, *shares in rows:
        paragraph(words, indent=_INDENT)
        paragraph(", ".join(f"{age} {share}" for age, share in zip(ages, shares, strict=True)), indent=3 * _INDENT)


def _print_row(words: str, numbers: str, basis: str, evidence: str) -> None:
    bullet = "* " if basis == "own" else ""
    paragraph(
        say("priors.row", what=words, numbers=numbers, basis=say(f"priors.basis.{basis}")), indent=2, bullet=bullet
    )
    paragraph(evidence, indent=6)
