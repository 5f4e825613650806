"""Make up on which days the counts of the invented crosses were taken, and write crosscompat/demo/days.csv.

A fruit is seen to swell 5 to 14 days after the brush and is ripe after 62 to 90 (two to three months in *E. coccineus*,
Flora of North America); its seed is sown 10 to 30 days later, or in the next March where that would be after September;
the first seedling is up after 9 to 24 days and the last count is taken 30 days after it. The spans but for the fruit
are invented. A cross that is not that far has no day. Run it as ``python tests/demo/make_days.py``.
"""

from __future__ import annotations

import csv
import datetime as dt
import random
from pathlib import Path

DEMO = Path(__file__).resolve().parents[2] / "crosscompat" / "demo"
HEADER = ("cross", "swelling", "ripe", "sown", "first_up", "last_up")
LUCK = 2031
LAST_MONTH_TO_SOW = 9
ALSO_NONE = {"swelling", "last_up"}  # that there is none was seen on a day too


def days_of(row: dict[str, str]) -> dict[str, dt.date]:
    """The days of one cross, as far as it has counts."""
    chance = random.Random(f"{LUCK} {row['cross']}")
    brushed = dt.date.fromisoformat(row["date"])
    ripe = brushed + dt.timedelta(days=chance.randint(62, 90))
    sown = ripe + dt.timedelta(days=chance.randint(10, 30))
    if sown.month > LAST_MONTH_TO_SOW:
        sown = dt.date(sown.year + 1, 3, chance.randint(1, 20))
    first = sown + dt.timedelta(days=chance.randint(9, 24))
    every = {
        "swelling": ("pods_set", brushed + dt.timedelta(days=chance.randint(5, 14))),
        "ripe": ("pods_held", ripe),
        "sown": ("seeds_sown", sown),
        "first_up": ("seedlings", first),
        "last_up": ("seedlings", first + dt.timedelta(days=30)),
    }
    looked = {name for name, (count, _) in every.items() if row[count] and (row[count] != "0" or name in ALSO_NONE)}
    return {name: day for name, (_, day) in every.items() if name in looked}


def write(path: Path) -> None:
    with (DEMO / "crosses.csv").open(encoding="utf-8", newline="") as lines:
        rows = [row for row in csv.DictReader(lines) if row["pods_set"]]
    with path.open("w", encoding="utf-8", newline="") as lines:
        writer = csv.DictWriter(lines, HEADER, lineterminator="\n", restval="")
        writer.writeheader()
        writer.writerows({"cross": row["cross"], **days_of(row)} for row in rows)


if __name__ == "__main__":
    write(DEMO / "days.csv")
