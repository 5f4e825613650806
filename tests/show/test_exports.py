from __future__ import annotations

import builtins
import csv
import io

import pyarrow as pa
import pytest
from pyarrow import parquet as reader

from crosscompat.ground.errors import WrongUse
from crosscompat.show.exports import csv_text, parquet

ROWS = [
    {"place": 1, "name": 'Echinocereus "x", var.', "chance": 0.1 + 0.2, "want": None},
    {"place": 2, "name": "Echinocereus × roetteri", "chance": 1e-9, "want": None},
]


def test_csv_keeps_every_digit_and_every_letter():
    assert list(csv.DictReader(io.StringIO(csv_text(ROWS)))) == [
        {key: "" if value is None else str(value) for key, value in row.items()} for row in ROWS
    ]
    assert csv_text([]) == ""


def test_parquet_comes_back_as_it_went():
    table = reader.read_table(io.BytesIO(parquet(ROWS)))
    assert table.to_pylist() == ROWS
    assert table.schema.field("want").type == pa.string()


def test_without_its_library_parquet_says_what_to_do(monkeypatch):
    real = builtins.__import__

    def without(name, *rest, **more):
        if name.startswith("pyarrow"):
            raise ModuleNotFoundError(name)
        return real(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(WrongUse, match=r"crosscompat\[parquet\]"):
        parquet(ROWS)
