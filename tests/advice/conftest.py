from __future__ import annotations

from datetime import date

import pytest

from crosscompat.book.crosses import Cross, Wanted
from crosscompat.book.current_plants import Plants
from crosscompat.collection.opening import Collection
from crosscompat.collection.settings import Settings
from crosscompat.phylogeny.newick import parse_newick
from crosscompat.traits import TraitColumn, TraitTable

NEWICK = "(((Aus_bus:1,Aus_cus:1):1,Aus_dus:2)Austera:2,(Aus_eus:1.5,Aus_fus:1.5):2.5);"


@pytest.fixture
def newick():
    return NEWICK


@pytest.fixture
def tree(newick):
    return parse_newick(newick, unit="My")


@pytest.fixture
def traits():
    """Known for four of the five species of the tree."""
    columns = {
        "spines_paired": ("flag", (True, True, False, None)),
        "2n": ("count", (22, 44, 22, 44)),
        "style_mm": ("measure", (10.0, 20.0, None, 10.0)),
        "flowering": ("months", (frozenset({4, 5}), frozenset({5, 6}), frozenset({9}), None)),
        "sex": ("text", ("dioecious", "mostly dioecious", "hermaphrodite", None)),
    }
    return TraitTable(
        ("Aus_bus", "Aus_cus", "Aus_dus", "Aus_eus"),
        tuple(TraitColumn(name, kind, True, values) for name, (kind, values) in columns.items()),
    )


@pytest.fixture
def collection(tree, traits):
    """Build a collection in memory; ``crosses`` may be short tuples."""

    def build(crosses=(), plants=(), wanted=(), *, distances=None, traits=traits, settings=None, **more):
        return Collection(
            None,
            settings or Settings(),
            tree if distances is None else distances,
            "ours",
            traits,
            Plants.of(plants),
            tuple(crosses),
            tuple(Wanted(*row, row=at) for at, row in enumerate(wanted, 2)),
            **more,
        )

    return build


@pytest.fixture
def cross():
    """Build a cross of one line: parents, units and takes, on a day long past."""

    def build(seed, pollen, tried=None, took=None, *, day=date(2024, 5, 1), **more):
        return Cross(day, seed, pollen, tried=tried, took=took, **more)

    return build


@pytest.fixture
def book(cross):
    """Twelve finished crosses: near pairs take, far ones do not."""
    near = [("Aus bus", "Aus cus"), ("Aus cus", "Aus bus"), ("Aus eus", "Aus fus")]
    far = [("Aus bus", "Aus eus"), ("Aus dus", "Aus fus"), ("Aus cus", "Aus eus")]
    return [
        *(cross(*pair, 5, 4, cross=f"n{i}{j}") for i, pair in enumerate(near) for j in range(2)),
        *(cross(*pair, 5, 0, cross=f"f{i}{j}") for i, pair in enumerate(far) for j in range(2)),
    ]


@pytest.fixture
def only_retrained(monkeypatch):
    """Answer from the last retraining alone, as of a book too large to be fitted for each question."""
    monkeypatch.setattr("crosscompat.advice.predict.FITTED_AT_ONCE", 0)


@pytest.fixture
def trained(collection):
    """Build a collection and teach it, so that it answers from its crosses."""
    from dataclasses import replace

    from crosscompat.advice.retrain import learn

    def build(*args, as_of=date(2026, 1, 1), **more):
        made = collection(*args, **more)
        return replace(made, saved=learn(made, as_of=as_of)[1])

    return build
