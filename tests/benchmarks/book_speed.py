"""Time a book of 100,000 observations: what is due and what each cross came to, and reading the table as it is.

Run it as ``python tests/benchmarks/book_speed.py``. The peer is SQLite itself: every observation fetched by the module
``sqlite3`` with nothing made of it. Times are the best of five, in one process but for the command itself, which is
timed from its start to its end. Of the crosses half were never brought to an end, which is more than any grower leaves.
"""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

from crosscompat.advice.season.due import due_list
from crosscompat.book import records
from crosscompat.book.cross_summary import crosses_of
from crosscompat.book.records import Record
from crosscompat.book.store import Store, open_store
from crosscompat.book.timelines import lives_of
from crosscompat.collection.settings import FILE_NAME, FORMAT, Settings

CROSSES, LOOKS, PLANTS = 5_000, 20, 200
START, TODAY = date(2010, 1, 1), date(2026, 6, 1)


def fill(store: Store) -> None:
    plants = [records.Plant(name=f"P{i}", received_as=f"Echinocereus sp. {i % 60}") for i in range(PLANTS)]
    found: list[Record] = [*plants]
    for i in range(CROSSES):
        closed = "germinate" if i % 2 else None
        cross = records.Cross(number=str(i), seed_plant=plants[i % PLANTS].id, closed_stage=closed)
        brushed = START + timedelta(days=i * 6000 // CROSSES)
        visit = records.Pollination(cross=cross.id, date=brushed, units=4)
        found += [cross, visit, records.Pollen(pollination=visit.id, plant=plants[(7 * i + 1) % PLANTS].id)]
        found += [
            records.Observation(
                cross=cross.id, date=brushed + timedelta(days=3 + look), what="pods_set", count=look % 4
            )
            for look in range(LOOKS)
        ]
    with store.writing("invented") as pen:
        pen.add(*found)


def best(job: Callable[[], object]) -> float:
    times = []
    for _ in range(5):
        start = time.perf_counter()
        job()
        times.append(time.perf_counter() - start)
    return min(times)


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "book.sqlite"
        store = open_store(file)
        fill(store)

        def due() -> object:
            with store.reading() as page:
                return due_list(lives_of(page, TODAY), Settings(group="cactus"), TODAY)

        def summary() -> object:
            with store.reading() as page:
                return crosses_of(page)

        def plain() -> object:
            return sqlite3.connect(file).execute("SELECT * FROM observations").fetchall()

        peer = best(plain)
        for name, job in (("observations fetched, plain", plain), ("due", due), ("outcomes", summary)):
            took = best(job)
            print(f"{name:30} {took:6.3f} s  {took / peer:5.1f} x")  # noqa: T201
        (Path(folder) / FILE_NAME).write_text(f'format = {FORMAT}\ntree = "echinocereus"\ngroup = "cactus"\n')
        asked = [sys.executable, "-m", "crosscompat", "due", "--collection", folder, "--as-of", TODAY.isoformat()]
        whole = best(lambda: subprocess.run(asked, check=True, capture_output=True))
        print(f"crosscompat due, from the shell {whole:5.3f} s")  # noqa: T201
        print(f"opening                        {best(lambda: open_store(file)):6.3f} s")  # noqa: T201


if __name__ == "__main__":
    main()
