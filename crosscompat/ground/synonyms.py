"""Which names mean which: a table of synonyms."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from os import PathLike

from crosscompat.ground.csv_cells import Cells, raise_faults, read_sheet
from crosscompat.ground.errors import Fault
from crosscompat.ground.names import fold, read_name
from crosscompat.ground.wording import say

COLUMNS = ("name", "accepted", "source")


def read_synonyms(path: str | PathLike[str]) -> dict[str, str]:
    r"""Read a table of synonyms: a CSV with the columns ``name`` and ``accepted``, and ``source`` if you like.

    Returned is the accepted name by name, as written; it may be a formula: so a named hybrid is told by its parents.

    Raises
    ------
    BadInput
        With every fault: a missing column or name, a name twice, a name that is its own synonym or its own parent.

    Examples
    --------
    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     path = Path(folder, "synonyms.csv")
    ...     _ = path.write_text("name,accepted\nCereus coccineus,Echinocereus coccineus\n")
    ...     read_synonyms(path)
    {'Cereus coccineus': 'Echinocereus coccineus'}
    """
    faults: list[Fault] = []
    sheet = read_sheet(path, known=COLUMNS, required=COLUMNS[:2], faults=faults)
    synonyms: dict[str, str] = {}
    first: dict[str, int] = {}
    for row in sheet.rows if set(COLUMNS[:2]) <= set(sheet.header) else ():
        cells = Cells(sheet, row, faults)
        name, accepted = cells.text("name", needed=True), cells.text("accepted", needed=True)
        if name is None or accepted is None:
            continue
        if first.setdefault(fold(name), row.number) != row.number:
            cells.fault("name", say("synonyms.twice", name=name, row=first[fold(name)]), say("synonyms.twice_advice"))
        elif fold(name) in _named_in(accepted):
            cells.fault("accepted", say("synonyms.itself", name=name))
        synonyms[name] = accepted
    raise_faults(faults)
    return synonyms


def _named_in(accepted: str) -> set[str]:
    name = read_name(accepted)
    return {fold(accepted), *(fold(parent.received) for parent in (name.parents if name else None) or ())}


def for_labels(synonyms: Mapping[str, str], labels: Iterable[str]) -> dict[str, str]:
    """Return synonyms (accepted name by name) by which the labels of a tree or a table can be searched.

    They are those given, and the way back where a label is a synonym: so the accepted name finds an old label. One
    accepted name with several synonyms among the labels finds none of them by that way.

    Examples
    --------
    >>> for_labels({"Aloe nova": "Aloe vera"}, ["Aloe_nova"])
    {'Aloe nova': 'Aloe vera', 'Aloe vera': 'Aloe_nova'}
    """
    written = {fold(label): label for label in labels}
    used = [(name, accepted) for name, accepted in synonyms.items() if fold(name) in written]
    often = Counter(fold(accepted) for _, accepted in used)
    listed = {fold(name) for name in synonyms}
    back = {
        accepted: written[fold(name)]
        for name, accepted in used
        if often[fold(accepted)] == 1 and fold(accepted) not in {*written, *listed}
    }
    return {**synonyms, **back}
