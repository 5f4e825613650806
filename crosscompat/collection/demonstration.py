"""The collection of an invented nursery, whose plants, crosses and outcomes are all made up."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from importlib.resources import as_file, files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from crosscompat.book.crosses import read_crosses
from crosscompat.book.current_plants import read_plants
from crosscompat.book.records import GivenForecast
from crosscompat.collection.recorded import Recorded, take_in
from crosscompat.collection.settings import FILE_NAME, read_settings
from crosscompat.ground.csv_cells import Cells, raise_faults, read_sheet
from crosscompat.ground.errors import Fault
from crosscompat.ground.files import write_atomically

if TYPE_CHECKING:
    from crosscompat.book import records
    from crosscompat.book.records import Record

__all__ = ["invented_records", "make_demonstration", "read_forecasts"]

_FILES = (FILE_NAME, "wanted.csv")


def make_demonstration(folder: Path, *, forecasts: bool = True) -> list[str]:
    """Make the invented nursery's collection in an empty folder.

    Parameters
    ----------
    folder : Path
    forecasts : bool
        Whether its book holds what was forecast of its crosses.

    Returns
    -------
    list of str
        The files made.
    """
    folder.mkdir(parents=True, exist_ok=True)
    for name in _FILES:
        write_atomically(folder / name, files("crosscompat.demo").joinpath(name).read_bytes())
    settings = read_settings(folder / FILE_NAME)
    found = invented_records()
    take_in(folder, settings, found if forecasts else Recorded(found.plants, found.crosses), _dated)
    return [*_FILES, settings.book]


def invented_records() -> Recorded:
    """Read the tables of the invented nursery."""
    with as_file(files("crosscompat.demo")) as tables:
        return Recorded(
            read_plants(tables / "plants.csv"),
            read_crosses(tables / "crosses.csv"),
            read_forecasts(tables / "forecasts.csv"),
        )


def read_forecasts(path: Path) -> tuple[GivenForecast, ...]:
    """Read a table of forecasts, a column for each field of `GivenForecast`.

    Raises
    ------
    BadInput
        With every fault of the file.
    """
    faults: list[Fault] = []
    found = [_forecast(Cells(sheet, row, faults)) for sheet in [read_sheet(path, faults=faults)] for row in sheet.rows]
    raise_faults(faults)
    return tuple(found)


def _forecast(cells: Cells) -> GivenForecast:
    texts: dict[str, Any] = {name: cells.text(name, needed=True) for name in ("model", "seed_parent", "pollen_parent")}
    texts |= {name: cells.text(name) for name in ("cross", "seed_plant", "pollen_plant")}
    numbers: dict[str, Any] = {name: cells.decimal(name, needed=True) for name in ("mean", "low", "high")}
    day: Any = cells.day("date", needed=True)
    flowers: Any = cells.whole("flowers", needed=True)
    return GivenForecast(date=day, flowers=flowers, **texts, **numbers)


def _dated(found: Sequence[Record]) -> list[Record]:
    """Give the counts of the invented crosses the days on which they were taken."""
    from crosscompat.book import records  # noqa: PLC0415 - only the demonstration needs them

    days = _days()
    of = {one.id: days.get(one.number or "", {}) for one in found if isinstance(one, records.Cross)}
    of |= {one.id: of[one.cross] for one in found if isinstance(one, records.Sowing)}
    column = {"pods_set": "swelling", "pods_held": "ripe"}
    dated: list[Record] = []
    for one in found:
        if isinstance(one, records.Observation):
            dated.append(replace(one, date=of[one.cross].get(column.get(one.what, ""))))
        elif isinstance(one, records.SeedLot):
            dated.append(replace(one, date=of[one.cross].get("ripe")))
        elif isinstance(one, records.Sowing):
            dated.append(replace(one, date=of[one.cross].get("sown")))
        elif isinstance(one, records.Emergence):
            dated += _looks(one, of[one.sowing])
        else:
            dated.append(one)
    return dated


def _looks(seen: records.Emergence, days: Mapping[str, date | None]) -> list[Record]:
    """Return two looks at a tray, when the first seedling was up and when the last had come; or one."""
    last = replace(seen, date=days.get("last_up"))
    if not days.get("first_up") or not seen.highest:
        return [last]
    from crosscompat.book.records import new_id  # noqa: PLC0415 - as above

    return [replace(seen, id=new_id(), date=days["first_up"], highest=1), last]


def _days() -> Mapping[str, Mapping[str, date | None]]:
    with as_file(files("crosscompat.demo").joinpath("days.csv")) as path:
        sheet = read_sheet(path)
    found = {}
    for row in sheet.rows:
        cells = Cells(sheet, row, [])
        found[cells.text("cross") or ""] = {name: cells.day(name) for name in sheet.header if name != "cross"}
    return found
