from __future__ import annotations

from dataclasses import fields, replace
from datetime import date

import pytest

from crosscompat.book import records
from crosscompat.book.current_plants import plants_of
from crosscompat.book.entry import Bounds
from crosscompat.book.entry.enter_plant import PlantEntry, enter_plant
from crosscompat.book.numbers_and_names import OURS, read_pattern
from crosscompat.ground.errors import UnknownName, WrongUse

NUMBERS = read_pattern(OURS)
DAY = date(2026, 5, 1)


@pytest.fixture
def tell(book):
    """Write down what is told of a plant and return what was planned."""

    def tell(name=None, day=DAY, **more):
        own = {item.name for item in fields(records.Plant)}
        plant = {key: value for key, value in more.items() if key in own}
        said = {key: value for key, value in more.items() if key not in own}
        with book.writing("a plant") as pen:
            return enter_plant(pen, PlantEntry(name=name, day=day, plant=plant, **said), NUMBERS, Bounds(DAY))

    return tell


@pytest.fixture
def standing(book):
    def standing(kind, **where):
        with book.reading() as page:
            return page.current(kind, **where)

    return standing


TEXTS = ("accession", "field_number", "source", "papers", "received_as", "owner", "place", "note", "clone")


@pytest.mark.parametrize("field", TEXTS)
def test_what_is_told_is_kept_and_the_rest_stays(tell, standing, field):
    tell("A", new=True, source="Ida", **({} if field == "source" else {field: "so and so"}))
    found = tell("A", acquired=DAY)
    [plant] = standing(records.Plant)
    assert plant == found.plant
    assert (plant.acquired, plant.source) == (DAY, "Ida")
    assert field == "source" or getattr(plant, field) == "so and so"
    told = {item.name for item in fields(plant) if getattr(plant, item.name) is not None}
    assert told == {"id", "name", "source", "acquired", field}
    assert found.wrote == ("here since 1 May 2026",)


def test_telling_the_same_again_writes_nothing(tell, book):
    tell("A", new=True, place="house 1")
    assert tell("A", place="house 1").wrote == ()
    with book.reading() as page:
        assert len(page.changes()) == 1


def test_a_typing_error_makes_no_plant(tell, standing):
    tell("A", new=True)
    with pytest.raises(UnknownName, match="say --new"):
        tell("AA", place="house 1")
    with pytest.raises(WrongUse, match="There is a plant A already"):
        tell("a", new=True)
    assert len(standing(records.Plant)) == 1


def test_determinations_never_replace_the_name_it_came_with(tell, book):
    tell("A", new=True, received_as="Aus sp.", species="Aus cf. bus", by="Ida")
    tell("A", species="Aus aff. cus", day=date(2026, 6, 1))
    with book.reading() as page:
        [plant] = page.current(records.Plant)
        named = page.current(records.Determination)
        assert plants_of(page).by_name["A"].species == "Aus aff. cus"
    assert plant.received_as == "Aus sp."
    assert [(one.name, one.date, one.by) for one in named] == [
        ("Aus cf. bus", DAY, "Ida"), ("Aus aff. cus", date(2026, 6, 1), None),
    ]  # fmt: skip
    with pytest.raises(WrongUse, match=r"A came as .* is kept"):
        tell("A", received_as="Aus bus")
    assert tell("A", received_as="Aus sp.").wrote == ()


def test_findings_are_dated_and_say_how_they_are_known(tell, standing, book):
    tell("A", new=True, findings=(("sex", "female"), ("2n", "44")), how="anthers empty", by="Ida")
    tell("A", findings=(("sex", "both"),), day=date(2026, 6, 1))
    assert {(one.what, one.value, one.date, one.how, one.by) for one in standing(records.Finding)} == {
        ("sex", "female", DAY, "anthers empty", "Ida"),
        ("2n", "44", DAY, "anthers empty", "Ida"),
        ("sex", "both", date(2026, 6, 1), None, None),
    }
    with book.reading() as page:
        known = plants_of(page).by_name["A"]
    assert (known.sex, known.chromosomes) == ("both", 44)


@pytest.mark.parametrize("flowers", [0, 4])
def test_flowers_are_counted_and_none_is_a_count_too(tell, standing, flowers):
    told = PlantEntry(name="A", day=DAY, flowers=flowers)
    assert not told.asks_only
    tell("A", new=True, flowers=flowers)
    [seen] = standing(records.Flowering)
    assert (seen.date, seen.open_flowers) == (DAY, flowers)


def test_asking_writes_nothing():
    assert PlantEntry(day=DAY).asks_only
    assert PlantEntry(name="A", day=DAY, by="Ida").asks_only
    assert not PlantEntry(name="A", day=DAY, new=True).asks_only


def test_an_offset_shares_the_clone_of_the_plant_that_is_named(tell, book):
    for name, clone in (("A1", None), ("A2", "A1"), ("A3", "A2"), ("B1", "B"), ("B2", "B1")):
        tell(name, new=True, **({"clone": clone} if clone else {}))
    with book.reading() as page:
        plants = plants_of(page)
    assert plants.one_clone("A1", "A3")
    assert plants.one_clone("A2", "A3")
    assert plants.one_clone("B1", "B2")
    assert not plants.one_clone("A1", "B1")


@pytest.fixture
def cross(book):
    cross = records.Cross(number="26-07", seed_parent="Aus bus")
    visit = records.Pollination(cross=cross.id, date=DAY, pollen_kind="one")
    with book.writing("a cross") as pen:
        pen.add(cross, visit, records.Pollen(pollination=visit.id, name="Aus cus"))
    return cross


def test_a_seedling_is_named_after_its_cross_and_has_its_pedigree(tell, book, cross):
    names = [tell(raised_from="26-07").plant.name for _ in range(2)]
    own = tell("Big one", new=True, raised_from=cross.id).plant
    assert names == ["26-07/1", "26-07/2"]
    assert own.cross == cross.id
    with book.reading() as page:
        species = {plant.plant: plant.species for plant in plants_of(page).by_name.values()}
    assert species == dict.fromkeys([*names, "Big one"], "Aus bus × Aus cus")


def test_pollen_is_stored_and_what_is_told_later_is_added(tell, standing):
    tell("A", new=True, pollen={"name": "P", "kept": "fridge", "collected": DAY})
    tell("A", pollen={"name": "P", "tested": date(2026, 5, 4), "test_result": "took on B", "dried": False})
    [lot] = standing(records.PollenLot)
    assert (lot.name, lot.kept, lot.collected, lot.tested, lot.test_result, lot.dried) == (
        "P", "fridge", DAY, date(2026, 5, 4), "took on B", False,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("told", "error", "says"),
    [
        ({"how": "seen"}, WrongUse, "--how says how"),
        ({"parents": "Aus bus"}, WrongUse, "does not name two parents"),
        ({"parents": "Aus bus × Aus cus", "raised_from": "26-07"}, WrongUse, "Leave --parents out"),
        ({"raised_from": "26-08"}, UnknownName, "26-07"),
        ({"species": "E. bus"}, UnknownName, "genus in full"),
        ({"species": "B-7"}, UnknownName, "cannot be read"),
        ({"place": " "}, WrongUse, "blank"),
        ({"findings": (("fertility", ""),)}, WrongUse, "blank"),
        ({"acquired": DAY, "died": date(2026, 4, 30)}, WrongUse, "cannot have died before"),
        ({"pollen": {"name": "taken"}}, WrongUse, "another plant"),
        ({"pollen": {"name": " "}}, WrongUse, "needs a name"),
        ({"pollen": {"name": "P", "collected": DAY, "tested": date(2026, 4, 1)}}, WrongUse, "tested before"),
    ],
)
def test_what_contradicts_itself_or_the_book_is_refused_and_nothing_is_written(
    tell, standing, cross, told, error, says
):
    tell("B", new=True, pollen={"name": "taken"})
    with pytest.raises(error, match=says):
        tell("A", new=True, **told)
    assert [plant.name for plant in standing(records.Plant)] == ["B"]


def test_a_plant_needs_a_name(tell):
    with pytest.raises(WrongUse, match="Name the plant"):
        tell(place="house 1")


@pytest.fixture
def crossed(book, tell):
    """Write down a cross of two plants, and one with a plant raised from it."""
    mother, father, child = (tell(name, new=True).plant for name in ("mother", "father", "child"))

    def made(number, seed, pollen):
        cross = records.Cross(number=number, seed_plant=seed.id)
        visit = records.Pollination(cross=cross.id, date=DAY)
        return cross, visit, records.Pollen(pollination=visit.id, plant=pollen.id)

    with book.writing("crosses") as pen:
        pen.add(*made("26-01", mother, father), *made("26-02", child, father))
    tell("child", raised_from="26-01")
    return book


@pytest.mark.parametrize(
    ("name", "cross", "named"),
    [
        ("mother", "26-01", "mother"),
        ("father", "26-01", "father"),
        ("father", "26-02", "father"),
        ("mother", "26-02", "mother"),
        ("child", "26-02", "child"),
    ],
)
def test_no_plant_is_raised_from_a_cross_of_its_own_or_of_its_offspring(crossed, tell, standing, name, cross, named):
    before = standing(records.Plant)
    with pytest.raises(WrongUse, match=f"{named} would be its own ancestor"):
        tell(name, raised_from=cross)
    assert standing(records.Plant) == before
    assert tell(new=True, raised_from=cross).plant.name == f"{cross}/1"


def test_what_contradicts_itself_already_stops_no_other_plant(crossed, tell, standing):
    """As it may in a book that was filled from tables."""
    [mother] = standing(records.Plant, name="mother")
    [cross] = standing(records.Cross, number="26-01")
    with crossed.writing("from a table") as pen:
        pen.replace(replace(mother, cross=cross.id))
    assert tell(new=True, raised_from="26-02").plant.name == "26-02/1"
    assert tell("mother", place="house 1").plant.place == "house 1"
    with pytest.raises(WrongUse, match=r"^(?!.*mother).*father would be"):
        tell("father", raised_from="26-01")


@pytest.mark.parametrize("name", ["FEN 1", "fen-1", "FEN1", "FEN-01", "Fen – 1"])
def test_a_new_plant_is_not_called_so_that_it_cannot_be_told_from_another(tell, standing, name):
    tell("FEN-1", new=True)
    with pytest.raises(WrongUse, match="There is a plant FEN-1 already"):
        tell(name, new=True)
    tell("FEN-11", new=True)
    assert [plant.name for plant in standing(records.Plant)] == ["FEN-1", "FEN-11"]
