"""The collection of an invented nursery, whose plants, crosses and outcomes are all made up."""

from __future__ import annotations

from importlib.resources import as_file, files
from pathlib import Path

from crosscompat.book.crosses import read_crosses
from crosscompat.book.forecasts import read_forecasts
from crosscompat.book.plants import read_plants
from crosscompat.collection.recorded import Recorded, take_in
from crosscompat.collection.settings import FILE_NAME, read_settings
from crosscompat.files import write_atomically

__all__ = ["invented_records", "make_demonstration"]

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
    take_in(folder, settings, found if forecasts else Recorded(found.plants, found.crosses))
    return [*_FILES, settings.book]


def invented_records() -> Recorded:
    """Read the tables of the invented nursery."""
    with as_file(files("crosscompat.demo")) as tables:
        return Recorded(
            read_plants(tables / "plants.csv"),
            read_crosses(tables / "crosses.csv"),
            read_forecasts(tables / "forecasts.csv"),
        )
