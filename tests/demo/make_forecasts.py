"""Write crosscompat/demo/forecasts.csv: what crosscompat would have said of the invented crosses, season by season.

The nursery reads its season in the middle of May and of June and at the end of October. On each of these days
the model is fitted to what the book knew by then, and what it says is written down as `crosscompat retrain` writes it.
So the forecasts are as invented as the crosses that they rest on.

Run it as ``python tests/demo/make_forecasts.py`` after any change of the model, the priors or the demonstration.
"""

from __future__ import annotations

import tempfile
from datetime import date
from pathlib import Path

from crosscompat.advice.forecast_record import forecasts_due
from crosscompat.advice.predict import fitted_on, training_set_of
from crosscompat.book.records import GivenForecast
from crosscompat.collection.create import make_demonstration
from crosscompat.collection.opening import Collection, open_collection
from crosscompat.ground.csv_cells import write_sheet
from crosscompat.model.saved import SavedModel

DEMO = Path(__file__).resolve().parents[2] / "crosscompat" / "demo"
HEADER = (
    *("date", "model", "cross", "seed_parent", "pollen_parent", "seed_plant", "pollen_plant", "flowers"),
    *("mean", "low", "high"),
)
DAYS = (
    date(2023, 10, 31),
    *(date(year, month, day) for year in (2024, 2025) for month, day in ((5, 18), (6, 12), (10, 31))),
    *(date(2026, month, day) for month, day in ((5, 18), (6, 12))),
)


def said_on(collection: Collection, day: date) -> list[GivenForecast]:
    """What was to be written on one day."""
    model = fitted_on(collection, training_set_of(collection, day))
    saved = SavedModel(model, collection.fingerprints, day.isoformat(), collection.settings.invented)
    return forecasts_due(collection, model, saved.fingerprint, day)


def write(path: Path) -> None:
    with tempfile.TemporaryDirectory() as folder:
        make_demonstration(Path(folder), forecasts=False)
        collection = open_collection(Path(folder))
        lines = [line for day in DAYS for line in said_on(collection, day)]
    write_sheet(path, HEADER, ({column: getattr(line, column) for column in HEADER} for line in dict.fromkeys(lines)))


if __name__ == "__main__":
    write(DEMO / "forecasts.csv")
