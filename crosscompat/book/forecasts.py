"""The forecasts as they were given."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from os import PathLike
from pathlib import Path

from crosscompat.book import records
from crosscompat.book.store import Reading
from crosscompat.ground.csv_cells import Cells, raise_faults, read_sheet, write_sheet
from crosscompat.ground.errors import Fault

__all__ = ["FILE_NAME", "HEADER", "GivenForecast", "add_forecasts", "forecasts_of", "read_forecasts"]

FILE_NAME = "forecasts.csv"
HEADER = (
    *("date", "model", "cross", "seed_parent", "pollen_parent", "seed_plant", "pollen_plant", "flowers"),
    *("mean", "low", "high"),
)


@dataclass(frozen=True, slots=True)
class GivenForecast:
    """One forecast on the day it was given.

    Attributes
    ----------
    date : date
        The day on which the season was read for it.
    model : str
        Fingerprint of the model that gave it.
    seed_parent, pollen_parent : str
        Species in correct form.
    flowers : int
    mean, low, high : float
        Chance of at least one seedling and its 90% interval.
    cross : str or None
        Identifier or number of the cross under way; None for a cross wanted.
    seed_plant, pollen_plant : str or None
    """

    date: date
    model: str
    seed_parent: str
    pollen_parent: str
    flowers: int
    mean: float
    low: float
    high: float
    cross: str | None = None
    seed_plant: str | None = None
    pollen_plant: str | None = None


def read_forecasts(path: str | PathLike[str]) -> tuple[GivenForecast, ...]:
    """Read ``forecasts.csv``.

    Raises
    ------
    BadInput
        With every fault of the file.
    """
    faults: list[Fault] = []
    sheet = read_sheet(path, known=HEADER, required=HEADER, faults=faults)
    found = [forecast for row in sheet.rows if (forecast := _forecast(Cells(sheet, row, faults))) is not None]
    raise_faults(faults)
    return tuple(found)


def add_forecasts(path: Path, forecasts: Iterable[GivenForecast]) -> None:
    """Add rows to ``forecasts.csv``, which is made if it is not there; a row that is there already is not repeated."""
    there = read_forecasts(path) if path.exists() else ()
    known = set(there)
    fresh = [line for line in dict.fromkeys(forecasts) if line not in known]
    rows = [{column: getattr(line, column) for column in HEADER} for line in (*there, *fresh)]
    write_sheet(path, HEADER, rows)


def _forecast(cells: Cells) -> GivenForecast | None:
    """Read one row; None where a cell cannot be read, which has then added its fault."""
    day, model = cells.day("date", needed=True), cells.text("model", needed=True)
    seed, pollen = cells.text("seed_parent", needed=True), cells.text("pollen_parent", needed=True)
    flowers = cells.whole("flowers", needed=True)
    mean, low, high = (cells.decimal(column, needed=True) for column in ("mean", "low", "high"))
    plants = {column: cells.text(column) for column in ("cross", "seed_plant", "pollen_plant")}
    if day is None or model is None or seed is None or pollen is None or flowers is None:
        return None
    if mean is None or low is None or high is None:
        return None
    return GivenForecast(day, model, seed, pollen, flowers, mean, low, high, **plants)


def forecasts_of(page: Reading) -> tuple[GivenForecast, ...]:
    """Return every forecast that stands in a book, in the order in which they were given."""
    rows = page.columns(records.Forecast, *HEADER, in_order=True)
    return tuple(GivenForecast(**dict(zip(HEADER, row, strict=True))) for row in rows)
