"""The crosses wanted, what the grower would like to try, as ``wanted.csv`` holds it."""

from __future__ import annotations

from dataclasses import dataclass
from os import PathLike

from crosscompat.ground.csv_cells import Cells, raise_faults, read_sheet
from crosscompat.ground.errors import Fault
from crosscompat.ground.wording import say

__all__ = ["HEADER", "Wanted", "read_wanted"]

HEADER = ("seed_parent", "pollen_parent", "want", "note")

_MOST = 5


@dataclass(frozen=True, slots=True)
class Wanted:
    """One pairing the grower would like to make.

    Attributes
    ----------
    seed_parent, pollen_parent : str
        Species or plants, as written.
    want : int or None
        How much, 1 to 5.
    """

    seed_parent: str
    pollen_parent: str
    want: int | None = None
    note: str | None = None
    row: int = 0


def read_wanted(path: str | PathLike[str]) -> tuple[Wanted, ...]:
    """Read the crosses wanted.

    Raises
    ------
    BadInput
        With every fault of the file.
    """
    faults: list[Fault] = []
    sheet = read_sheet(path, known=HEADER, required=HEADER[:2], faults=faults)
    found = []
    for row in sheet.rows:
        cells = Cells(sheet, row, faults)
        seed, pollen = cells.text("seed_parent", needed=True), cells.text("pollen_parent", needed=True)
        want, note = cells.whole("want"), cells.text("note")
        if want is not None and not 1 <= want <= _MOST:
            cells.fault("want", say("wanted.want", got=str(want)))
        if seed is not None and pollen is not None:
            found.append(Wanted(seed, pollen, want, note, row.number))
    raise_faults(faults)
    return tuple(found)
