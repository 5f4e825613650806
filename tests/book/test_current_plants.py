from __future__ import annotations

import time
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crosscompat.book import records
from crosscompat.book.current_plants import (
    HEADER,
    Plant,
    Plants,
    Sighting,
    Window,
    latest,
    read_plants,
    sightings_of,
    species_of,
    usual_window,
)
from crosscompat.book.records import SEXES
from crosscompat.ground.errors import BadInput


@pytest.fixture
def written(tmp_path):
    def write(text):
        path = tmp_path / "plants.csv"
        path.write_text(text, encoding="utf-8")
        return path

    return write


def faults_of(path):
    with pytest.raises(BadInput) as caught:
        read_plants(path)
    return [(str(fault.place), fault.what) for fault in caught.value.faults]


def test_every_column_is_read_and_blank_is_unknown(written):
    path = written(
        ",".join(HEADER) + "\nC-1,E. coccineus,C,Female,44,no,gift,hardy\nC-2,Echinocereus_coccineus,,,,,,\n"
    )
    bench = read_plants(path)
    assert bench.find("C-1") == Plant("C-1", "E. coccineus", "C", "female", 44, self_fertile=False, source="gift",
                                      note="hardy", row=2)  # fmt: skip
    assert bench.find("C-2") == Plant("C-2", "Echinocereus_coccineus", "C-2", row=3)
    assert bench.find("C-3") is None
    assert bench.find(None) is None


def test_two_columns_are_enough(written):
    assert read_plants(written("species,plant\nAus bus,1\n")).by_name.keys() == {"1"}
    assert read_plants(written("plant,species\n")).by_name == {}


@pytest.mark.parametrize("sex", SEXES)
def test_every_sex_is_a_word(written, sex):
    found = read_plants(written(f"plant,species,sex\n1,Aus bus,{sex.upper().replace(' ', '_')}\n"))
    assert found.find("1").sex == sex


def test_every_fault_is_told_at_once_in_the_order_of_the_file(written):
    path = written(
        "plant,species,sex,2n,self_fertile\n1,Aus bus,neuter,22,yes\n,Aus bus,,,\n1,,,many,perhaps\n1,Aus bus,,,\n"
        "1,Aus cus,,,\n"
    )
    assert [place for place, _ in faults_of(path)] == [
        "plants.csv, row 2, column sex",
        "plants.csv, row 3, column plant",
        "plants.csv, row 4, column species",
        "plants.csv, row 4, column 2n",
        "plants.csv, row 4, column self_fertile",
        "plants.csv, row 5, column plant",
        "plants.csv, row 6, column plant",
    ]
    assert faults_of(path)[-1][1] == "The plant “1” is also in row 2."


def test_columns_that_are_missing_or_unknown_are_faults(written):
    assert faults_of(written("plant,sexes\n1,male\n")) == [
        ("plants.csv, row 1", "Nothing here is called “sexes”."),
        ("plants.csv, row 1", "The column “species” is missing."),
        ("plants.csv, row 2, column species", "This must be filled in."),
    ]


BENCH = Plants.of([Plant("A1", "Aus bus", "A"), Plant("A2", "Aus bus", "A"), Plant("B", "Aus bus", "B")])


@pytest.mark.parametrize(
    ("one", "two", "same"),
    [
        ("A1", "A1", True),
        ("A1", "A2", True),
        ("A1", "B", False),
        ("A1", "A", True),  # the mother of the offsets, which stands in no row of her own
        ("X", "X", True),
        ("X", "Y", False),
        ("X", "A1", False),
        (None, "A1", False),
        (None, None, False),  # two plants nobody noted may well be two
    ],
)
def test_offsets_of_one_plant_are_one_clone(one, two, same):
    assert BENCH.one_clone(one, two) is same
    assert BENCH.one_clone(two, one) is same


@given(st.lists(st.sampled_from("ABC"), min_size=3, max_size=6))
def test_clones_part_the_plants_into_groups(clones):
    bench = Plants.of(Plant(f"p{i}", "Aus bus", clone) for i, clone in enumerate(clones))
    for i, one in enumerate(clones):
        for j, two in enumerate(clones):
            assert bench.one_clone(f"p{i}", f"p{j}") == (one == two)


def test_a_name_that_is_no_plants_is_taken_for_a_species():
    assert (BENCH.species("A1"), BENCH.species("Aus cus")) == ("Aus bus", "Aus cus")


DAYS = st.dates(date(2001, 1, 1), date(2040, 12, 31))


def in_leap_year(day):
    return day.replace(year=2024)


def naive_window(days):
    """Try every stretch of the year that starts and ends with a day seen open; the shortest that holds them all."""
    found = sorted({in_leap_year(day) for day in days})
    year = timedelta(days=366)
    stretches = []
    for at, first in enumerate(found):
        turned = [*found[at:], *[day + year for day in found[:at]]]
        stretches.append((turned[-1] - first, first, turned[-1]))
    length, first, last = min(stretches, key=lambda one: one[0])
    return length, first, (last - year if last.year > 2024 else last)


@given(st.lists(DAYS, min_size=1, max_size=12))
def test_the_window_is_the_shortest_stretch_that_holds_every_day(days):
    window = usual_window(days)
    length, _, _ = naive_window(days)
    first, last = (date.fromisoformat(f"2024-{text}") for text in (window.first, window.last))
    assert (last - first) % timedelta(days=366) == length
    assert all(window.away(day) == 0 for day in days)
    assert window.days == len(set(days))


@given(st.lists(DAYS, min_size=1, max_size=6), DAYS)
def test_a_day_outside_is_as_far_away_as_the_nearer_end(days, day):
    window = usual_window(days)
    ends = [date.fromisoformat(f"2024-{text}") for text in (window.first, window.last)]
    apart = [abs((in_leap_year(day) - end).days) for end in ends]
    nearest = min(min(days, 366 - days) for days in apart)
    assert window.away(day) in {0, nearest}


def test_no_day_makes_no_window():
    assert usual_window([]) is None


@pytest.mark.parametrize(("days", "trusted"), [(1, False), (2, False), (3, True)])
def test_a_window_is_trusted_from_three_days_on(days, trusted):
    assert Window("05-01", "05-09", days).trusted is trusted


@pytest.mark.parametrize(
    ("ago", "flowers", "found"),
    [(0, 4, True), (7, None, True), (8, 4, False), (-1, 4, False), (3, 0, True)],
)
def test_a_sighting_tells_of_a_week(ago, flowers, found):
    day = date(2026, 5, 10)
    seen = Sighting(day - timedelta(days=ago), flowers)
    assert (latest([seen], day) is not None) is found


def test_what_was_noted_comes_before_what_a_visit_shows(book):
    mother, father, kept = (records.Plant(name=name) for name in ("F", "M", "K"))
    cross = records.Cross(seed_plant=mother.id)
    days = [date(2026, 5, 1), date(2026, 5, 2)]
    visits = [records.Pollination(cross=cross.id, date=day) for day in days]
    lot = records.PollenLot(name="L", plant=kept.id)
    brought = [
        records.Pollen(pollination=visits[0].id, plant=father.id),
        records.Pollen(pollination=visits[1].id, plant=kept.id, lot=lot.id),
        records.Pollen(pollination=visits[1].id, name="Aus bus"),
    ]
    noted = records.Flowering(plant=mother.id, date=days[0], open_flowers=4)
    with book.writing("a season") as pen:
        pen.add(mother, father, kept, cross, *visits, lot, *brought, noted)
    with book.reading() as page:
        found = sightings_of(page)
    assert found == {
        mother.id: [Sighting(days[0], 4), Sighting(days[1])],
        father.id: [Sighting(days[0])],
    }


def test_a_line_of_many_generations_takes_little_time_and_its_formula_can_be_read(book):
    """Each plant was raised from the one before, by the pollen of one father."""
    line, father = [records.Plant(name="P0", received_as="Aus bus")], records.Plant(name="F", received_as="Aus cus")
    more = []
    for i in range(1, 1_500):
        cross = records.Cross(number=str(i), seed_plant=line[-1].id)
        visit = records.Pollination(cross=cross.id, date=date(2020, 1, 1))
        more += [cross, visit, records.Pollen(pollination=visit.id, plant=father.id)]
        line.append(records.Plant(name=f"P{i}", cross=cross.id))
    with book.writing("a line") as pen:
        pen.add(father, *line, *more)
    with book.reading() as page:
        start = time.perf_counter()
        species = species_of(page)
        took = time.perf_counter() - start
    assert species[line[2].id] == "(Aus bus × Aus cus) × Aus cus"
    assert max(map(len, species.values())) <= 500
    assert took < 2
