"""What a grower's "took" counts, put where that is counted here."""

from __future__ import annotations

from collections.abc import Mapping, MutableMapping
from types import MappingProxyType

from crosscompat.ground import csv_convert
from crosscompat.ground.wording import say

__all__ = ["TOOK_MEANS", "put_took"]

TOOK_MEANS: Mapping[str, str] = MappingProxyType({"pod-set": "pods_set", "ripe-pod": "pods_held", "seedling": "took"})
"""Our column by what "took" may mean."""


def put_took(row: MutableMapping[str, str | None], means: str) -> None:
    """Move a row's "took" to the column that it means; yes is 1 of one flower, no is 0.

    Parameters
    ----------
    row : mutable mapping
        The texts of one row by our columns.
    means : {"pod-set", "ripe-pod", "seedling"}

    Raises
    ------
    csv_convert.BadCell
        If "yes" stands for several flowers, or another column of the row counts the same and says otherwise.

    Examples
    --------
    >>> row = {"units": "4", "took": "3"}
    >>> put_took(row, "pod-set")
    >>> row
    {'units': '4', 'pods_set': '3'}
    """
    units = (row.get("units") or "").strip()
    count = _counted((row.pop("took") or "").strip(), units)
    column = TOOK_MEANS[means]
    if column == "took" and row.get("tried") is None:
        column = "took" if units else "seedlings"
        if units:
            row["tried"] = units
    if row.get(column) not in {None, count}:
        raise csv_convert.BadCell(
            say("sheets.took_twice", text=count, other=row[column]), say("sheets.took_twice_advice")
        )
    row[column] = count


def _counted(text: str, units: str) -> str:
    if text.isdecimal():
        return text
    try:
        yes = csv_convert.yes_no(text)
    except csv_convert.BadCell:
        raise csv_convert.BadCell(say("sheets.took_word", text=text), say("sheets.took_word_advice")) from None
    if yes and units not in {"", "1"}:
        raise csv_convert.BadCell(say("sheets.took_some", text=text, n=units), say("sheets.took_some_advice"))
    return "1" if yes else "0"
