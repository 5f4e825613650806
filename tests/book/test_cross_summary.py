from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.book import records
from crosscompat.book.cross_summary import (
    Units,
    crosses_of,
    in_all,
    in_words,
    kinds_of,
    total,
    units_of_visits,
    units_told,
)
from crosscompat.book.crosses import Cross
from crosscompat.book.current_plants import Plant, Plants, plants_of, species_of
from crosscompat.book.import_export.import_table import records_of
from crosscompat.book.records import FLOWERS, POLLEN_KINDS, PROOFS, SEXES, Pollination
from crosscompat.book.store import open_store
from crosscompat.stages import STAGES

TEXT = st.text("abc ×'“,;", min_size=1, max_size=6).filter(lambda text: text == text.strip())
SOME = st.none() | st.integers(0, 30)
YES_NO = st.none() | st.booleans()
DAY = st.dates(date(1990, 1, 1), date(2030, 1, 1))
MOMENT = st.datetimes(datetime(1701, 1, 1), datetime(2998, 1, 1), timezones=st.just(UTC))  # noqa: DTZ001
SPECIES = st.sampled_from(["Echinocereus coccineus", "Echinocereus dasyacanthus", "E. pectinatus"])
PLANT_NAME = st.none() | st.sampled_from(["coc-1", "das-1", "pec-1"])


@st.composite
def crosses(draw):
    kind = draw(st.none() | st.sampled_from(POLLEN_KINDS))
    named = kind not in {"open", "none"}
    pods = draw(SOME)
    return Cross(
        date=draw(DAY), seed_parent=draw(SPECIES), pollen_parent=draw(SPECIES) if named else None,
        id=str(draw(st.uuids())), cross=None, seed_plant=draw(PLANT_NAME),
        pollen_plant=draw(PLANT_NAME) if named else None, grower=draw(st.none() | TEXT), pollen_kind=kind,
        technique=draw(st.none() | st.sampled_from(["plain", "cut style"])), isolation=draw(st.none() | TEXT),
        units=draw(st.none() | st.integers(1, 30)), unit_kind=draw(st.none() | TEXT), pods_set=draw(SOME),
        pods_held=pods, seeds=draw(SOME), seeds_filled=draw(SOME), seeds_sown=draw(SOME), seedlings=draw(SOME),
        tried=draw(SOME), took=draw(SOME), closed_stage=draw(st.none() | st.sampled_from([*STAGES])),
        lost_to=draw(st.none() | TEXT), only_successes=draw(YES_NO), stamens_removed=draw(YES_NO),
        proof=draw(st.none() | st.sampled_from(PROOFS)), source=draw(st.none() | TEXT),
        recorded_at=draw(st.none() | MOMENT), note=draw(st.none() | TEXT),
    )  # fmt: skip


PLANTS = st.lists(
    st.builds(
        Plant, plant=st.sampled_from(["coc-1", "das-1", "tri-1"]), species=SPECIES, clone=st.sampled_from(["A", "B"]),
        sex=st.none() | st.sampled_from(SEXES), chromosomes=st.none() | st.integers(2, 99), self_fertile=YES_NO,
        source=st.none() | TEXT, note=st.none() | TEXT,
    ),
    unique_by=lambda plant: plant.plant,
)  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(PLANTS, st.lists(crosses(), max_size=4, unique_by=lambda cross: cross.id))
def test_tables_taken_in_come_out_of_the_book_as_they_were(plants, made):
    store = open_store("sqlite://")
    with store.writing("tables taken in") as pen:
        pen.imported = True
        pen.add(*records_of(Plants.of(plants), made))
    with store.reading() as page:
        found, bench = crosses_of(page), plants_of(page)
    expected = [replace(cross, row=row) for row, cross in enumerate(made, start=1)]
    assert list(found) == expected
    assert {name: bench.find(name) for name in (plant.plant for plant in plants)} == {p.plant: p for p in plants}


@pytest.fixture
def page():
    """Write records into a new book and open it."""
    store = open_store("sqlite://")

    def write(*found):
        with store.writing("records") as pen:
            pen.add(*found)
        with store.reading() as reading:
            return crosses_of(reading), plants_of(reading), species_of(reading)

    return write


MADE = records.Cross(number="25-01", seed_parent="Echinocereus coccineus")
DAY_0 = date(2025, 5, 1)


def _visit(days=0, units=2, **more):
    return records.Pollination(cross=MADE.id, date=DAY_0 + timedelta(days=days), units=units, **more)


def _pollen(visit, name="Echinocereus dasyacanthus", **more):
    return records.Pollen(pollination=visit.id, name=name, **more)


def _one(write, *found):
    (cross,), _, _ = write(MADE, *found)
    return cross


@pytest.mark.parametrize(
    ("species", "known"),
    [("Echinocereus pectinatus", ("Twilight", "Echinocereus pectinatus")), ("Twilight", (None, "Twilight"))],
)
def test_a_parent_written_by_name_is_the_plant_that_has_borne_it_since(page, species, known):
    plant, visit = records.Plant(name="Twilight"), _visit()
    named = records.Determination(plant=plant.id, name=species)
    made = replace(MADE, seed_parent="Twilight")
    (cross,), _, _ = page(made, visit, _pollen(visit, name="Twilight"), plant, named)
    assert (cross.seed_plant, cross.seed_parent) == (cross.pollen_plant, cross.pollen_parent) == known


def test_units_of_new_flowers_add_up_and_the_same_again_add_none(page):
    visits = [_visit(0, 2), _visit(3, 3), _visit(4, 3, flowers="same again")]
    cross = _one(page, *visits, *map(_pollen, visits))
    assert (cross.units, cross.date) == (5, DAY_0)


def test_units_are_unknown_where_one_visit_was_not_counted(page):
    assert _one(page, _visit(0, 2), _visit(3, None)).units is None


@pytest.mark.parametrize(
    ("kinds", "units", "kind"),
    [
        ([None, "flower"], 5, "flower"),
        (["raceme", "Racemes"], 5, "raceme"),
        (["raceme", None], None, "raceme; flower"),
        (["flower", "cyathium"], None, "flower; cyathium"),
    ],
)
def test_units_of_one_kind_add_up_and_unlike_ones_are_unknown(page, kinds, units, kind):
    """A visit that does not say what was counted counted flowers."""
    cross = _one(page, _visit(0, 2, unit_kind=kinds[0]), _visit(3, 3, unit_kind=kinds[1]))
    assert (cross.units, cross.unit_kind) == (units, kind)


def test_a_technique_that_is_not_plain_speaks_for_the_cross(page):
    assert _one(page, _visit(technique="plain"), _visit(technique="cut style")).technique == "cut style"


@pytest.mark.parametrize(
    ("names", "certainty", "parent"),
    [
        (["a", "a"], "certain", "a"),
        (["a", "b"], "certain", None),
        (["a", "a"], "likely", "a"),
        (["a"], "unknown", None),
        ([], None, None),
    ],
)
def test_the_pollen_parent_is_known_only_where_all_pollen_agrees(page, names, certainty, parent):
    visit = _visit()
    cross = _one(page, visit, *(_pollen(visit, name, certainty=certainty) for name in names))
    assert cross.pollen_parent == parent


@pytest.mark.parametrize(
    ("seen", "pods_set", "pods_held"),
    [
        ([("pods_set", 1), ("pods_set", 3), ("pods_set", 2)], 3, None),
        ([("pods_set", 3), ("pods_dropped", 1)], 3, None),
        ([("pods_set", 3), ("pods_dropped", 1), ("pods_dropped", 2)], 3, 0),
        ([("pods_set", 3), ("pods_held", 2), ("pods_dropped", 1)], 3, 2),
        ([("pods_set", 0)], 0, None),
        ([], None, None),
    ],
)
def test_pods(page, seen, pods_set, pods_held):
    found = [records.Observation(cross=MADE.id, what=what, count=count) for what, count in seen]
    cross = _one(page, _visit(), *found)
    assert (cross.pods_set, cross.pods_held) == (pods_set, pods_held)


def test_seed_of_several_harvests_adds_up_and_ripe_pods_with_it(page):
    lots = [
        records.SeedLot(cross=MADE.id, pods=1, seeds=10, filled=8),
        records.SeedLot(cross=MADE.id, pods=2, filled=3),
    ]
    cross = _one(page, _visit(), *lots)
    assert (cross.pods_held, cross.seeds, cross.seeds_filled) == (3, None, 11)


def _trays(*trays, lost=()):
    found = []
    for i, (seeds, up) in enumerate(trays):
        sowing = records.Sowing(cross=MADE.id, seeds=seeds)
        found.append(sowing)
        found += [records.Emergence(sowing=sowing.id, highest=n) for n in ([] if up is None else up)]
        if i in lost:
            found.append(records.Loss(cross=MADE.id, sowing=sowing.id, cause="mice"))
    return found


@pytest.mark.parametrize(
    ("trays", "lost", "sown", "seedlings", "lost_to"),
    [
        ([(10, [1, 4, 3])], (), 10, 4, None),
        ([(10, [4]), (5, [0])], (), 15, 4, None),
        ([(10, [0]), (5, None)], (), 15, None, None),
        ([(10, None)], (), 10, None, None),
        ([(10, [2]), (5, None)], (1,), 10, 2, None),
        ([(10, None)], (0,), 10, None, "mice"),
        ([(10, [2])], (0,), 10, 2, None),
    ],
)
def test_trays(page, trays, lost, sown, seedlings, lost_to):
    cross = _one(page, _visit(), *_trays(*trays, lost=lost))
    assert (cross.seeds_sown, cross.seedlings, cross.lost_to) == (sown, seedlings, lost_to)


def test_a_loss_that_speaks_against_the_cross_is_no_accident(page):
    lost = records.Loss(cross=MADE.id, cause="all weak and yellow", against="yes")
    assert _one(page, _visit(), lost).lost_to is None


def test_what_was_written_here_is_dated_by_its_last_word(page):
    cross = _one(page, _visit())
    assert abs(datetime.now(UTC) - cross.recorded_at) < timedelta(minutes=1)


def test_the_latest_determination_and_finding_of_a_plant_hold(page):
    plant = records.Plant(name="x", received_as="Echinocereus sp.")
    found = [
        records.Determination(plant=plant.id, name="Echinocereus triglochidiatus", date=date(2022, 5, 1)),
        records.Determination(plant=plant.id, name="Echinocereus coccineus", date=date(2024, 5, 1)),
        records.Determination(plant=plant.id, name="Echinocereus cf. polyacanthus"),
        records.Finding(plant=plant.id, what="sex", value="male", date=date(2025, 5, 1)),
        records.Finding(plant=plant.id, what="sex", value="female", date=date(2023, 5, 1)),
    ]
    _, bench, _ = page(plant, *found)
    assert (bench.find("x").species, bench.find("x").sex) == ("Echinocereus coccineus", "male")


def test_a_plant_without_determination_is_what_it_came_as(page):
    plant = records.Plant(name="x", received_as="Echinocereus sp. Jarilla Mts")
    _, bench, _ = page(plant)
    assert bench.find("x").species == "Echinocereus sp. Jarilla Mts"


def test_a_plant_raised_from_a_cross_is_the_formula_of_its_parents_and_so_is_its_child(page):
    mother = records.Plant(name="coc-1", received_as="Echinocereus coccineus")
    first = records.Cross(number="20-01", seed_plant=mother.id)
    visit = records.Pollination(cross=first.id, date=DAY_0)
    child = records.Plant(name="20-01/1", cross=first.id)
    second = records.Cross(number="24-01", seed_plant=child.id)
    again = records.Pollination(cross=second.id, date=DAY_0)
    grandchild = records.Plant(name="24-01/1", cross=second.id)
    pollen = [_pollen(visit), records.Pollen(pollination=again.id, plant=mother.id)]
    _, _, species = page(mother, first, visit, child, second, again, grandchild, *pollen)
    assert species[child.id] == "Echinocereus coccineus × Echinocereus dasyacanthus"
    assert species[grandchild.id] == "(Echinocereus coccineus × Echinocereus dasyacanthus) × Echinocereus coccineus"


def test_a_plant_that_is_told_to_descend_from_itself_is_known_by_its_name(page):
    mother = records.Plant(name="coc-1")
    made = records.Cross(number="26-01", seed_plant=mother.id)
    visit = records.Pollination(cross=made.id, date=date(2026, 5, 1))
    own = records.Plant(name="26-01/1", cross=made.id)
    _, _, species = page(mother, own, made, visit, records.Pollen(pollination=visit.id, plant=own.id))
    assert species[own.id] == "coc-1 × 26-01/1"


KINDS = st.sampled_from([None, "flower", "Flowers", " flower ", "raceme", "RACEMES", "cyathia", "head"])
VISITS = st.lists(
    st.builds(
        Pollination, cross=st.just("c"), date=st.just(date(2026, 5, 1)), units=st.none() | st.integers(1, 9),
        unit_kind=KINDS, flowers=st.sampled_from(FLOWERS),
    )
)  # fmt: skip


def visit(units=None, kind=None, **more):
    return Pollination(cross="c", date=date(2026, 5, 1), units=units, unit_kind=kind, **more)


@given(VISITS)
def test_every_new_unit_is_counted_once_under_its_own_kind(visits):
    new = [one for one in visits if one.flowers == "new"]
    found = {one.kind: one.count for one in units_of_visits(visits)}
    assert found.keys() == {units_told(one.unit_kind, None).kind for one in new}
    for kind, count in found.items():
        alike = [one.units for one in new if units_told(one.unit_kind, None).kind == kind]
        assert count == (None if None in alike else sum(alike))


@given(VISITS)
def test_there_is_one_count_only_of_one_kind_wholly_counted(visits):
    units = units_of_visits(visits)
    counted = bool(units) and None not in {one.count for one in units}
    assert (in_all(units) is not None) == (counted and len(units) == 1)
    assert (in_words(units) != "") == counted


@pytest.mark.parametrize("order", [1, -1])
def test_a_visit_that_does_not_say_counted_flowers(order):
    visits = [visit(3), visit(2, "flower"), visit(1, "Flowers")][::order]
    assert units_of_visits(visits) == (Units("flower", 6),)


def test_words_of_the_growers_own_are_kept_as_first_written():
    assert units_of_visits([visit(1, "Head"), visit(2, "head")]) == (Units("Head", 3),)
    assert units_told("Umbel", 2).words == "Umbel: 2"


def test_the_same_flowers_again_are_of_no_kind():
    visits = [visit(3), visit(2, "raceme", flowers="same again")]
    assert units_of_visits(visits) == (Units("flower", 3),)
    assert in_all(units_of_visits(visits)) == 3
    assert kinds_of([visit(3, "raceme"), visit(2, "head", flowers="same again")]) == "raceme"


def test_no_sum_is_told_where_a_part_is_unknown():
    assert total([0, 0]) == 0
    assert total([None]) is None
    assert total(iter(())) is None
    assert in_words([Units("flower", 1), Units("raceme", 2)]) == "1 flower and 2 racemes"
    assert in_words([]) == ""
