"""The first five minutes: from an empty folder to odds that have moved, without a tree file or settings."""

from __future__ import annotations

import pytest

from crosscompat.advice.figures import outcome_of
from crosscompat.advice.replay import replay
from crosscompat.book.records import Cross, Plant
from crosscompat.book.store import open_store
from crosscompat.collection.opening import open_collection

LIST = """1. Echinocereus coccineus SB 123
- E. coccineus 'Winter Sun'
Mammillaria sp.
dasyacanthus SB1234 red form
COC-7, Echinocereus coccineus, male
SB 744\tEchinocereus fendleri\tSandoval Co.
E. coccineus x dasyacanthus
"""
TABLE = """date\tseed parent\tpollen parent\tflowers\tfruits\tseedlings
2023-05-01\tE. coccineus\tE. dasyacanthus\t4\t3\t12
2023-05-03\tE. coccineus\tE. fendleri\t6\t0\t0
2024-05-04\tE. fendleri\tE. coccineus\t5\t1\t0
2024-05-05\tE. dasyacanthus\tE. coccineus\t3\t2\t8
"""


@pytest.fixture
def empty(tmp_path, make_client):
    (tmp_path / "new").mkdir()
    return tmp_path / "new", make_client(tmp_path / "new")


def standing(folder, kind):
    with open_store(folder / "book.sqlite") as store, store.reading() as page:
        return page.current(kind)


def test_an_empty_folder_asks_for_the_plants_and_for_no_file(empty):
    _, client = empty
    said = client.get("/")
    assert "Nothing leaves this machine" in said
    assert "settings" not in said
    assert "file" not in said


def test_a_list_as_it_is_becomes_plants_and_the_rest_is_listed(empty):
    folder, client = empty
    client.get("/start")
    said = client.send("/start/plants", list=LIST)
    assert "6 of 7 plants recognised" in said
    assert "Mammillaria sp. (PLANT-1)" in said
    plants = {plant.name: plant for plant in standing(folder, Plant)}
    assert len(plants) == 7
    assert plants["COC-7"].received_as == "Echinocereus coccineus"
    assert plants["DAS-1"].note == "dasyacanthus SB1234 red form"
    assert plants["PLANT-1"].received_as == "Mammillaria sp."
    hybrid = next(plant for plant in plants.values() if plant.note and " x " in plant.note)
    assert hybrid.received_as == "Echinocereus coccineus × Echinocereus dasyacanthus"


def test_old_crosses_move_the_odds_and_are_replayed_from_what_was_known_before(empty):
    folder, client = empty
    client.get("/start")
    client.send("/start/plants", list=LIST)
    guess = client.get("/ask?seed=coccineus&pollen=fendleri&flowers=6")
    client.get("/start")
    assert "Did you write down successes only?" in client.send("/start/crosses", table=TABLE)
    said = client.send("/start/crosses", table=TABLE, **{"answer-only successes": "no"})
    assert "4 crosses to write down" in said
    assert standing(folder, Cross) == ()
    said = client.send("/start/crosses", table=TABLE, sure="1")
    assert "4 crosses are in your book now" in said
    assert "What would have been said then" in said
    assert client.get("/ask?seed=coccineus&pollen=fendleri&flowers=6") != guess
    said = replay(
        open_collection(folder), max(cross.date for cross in open_collection(folder).crosses).replace(year=2030)
    )
    assert [one.learned_from for one in said] == [0, 0, 2, 2]
    assert [one.outcome for one in said] == ["took", "failed", "failed", "took"]


def test_the_same_table_sent_twice_is_written_once(empty):
    folder, client = empty
    client.get("/start")
    client.send("/start/plants", list=LIST)
    client.get("/start")
    fields = client.hidden("/start/crosses") | {"table": TABLE, "answer-only successes": "no", "sure": "1"}
    for _ in range(2):
        client.send("/start/crosses", again=False, **fields)
    assert len(standing(folder, Cross)) == 4


NOTED = """date,seed parent,pollen parent,flowers,fruits,seedlings,remarks
2024-05-04,E. coccineus,E. fendleri,5,2,,eaten by mice
2024-05-05,E. dasyacanthus,E. coccineus,3,2,8,warm day
"""


def test_a_note_that_may_decide_is_asked_about_before_anything_is_written(empty):
    folder, client = empty
    client.get("/start")
    client.send("/start/plants", list=LIST)
    client.get("/start")
    said = client.send("/start/crosses", table=NOTED, **{"answer-only successes": "no"})
    assert "“eaten by mice”" in said
    client.send("/start/crosses", table=NOTED, sure="1")
    assert standing(folder, Cross) == ()
    client.send("/start/crosses", table=NOTED, **{"note:eaten by mice": "accident"})
    client.send("/start/crosses", table=NOTED, sure="1")
    outcomes = {cross.pollen_parent: outcome_of(cross) for cross in open_collection(folder).crosses}
    assert outcomes == {"E. fendleri": "lost", "E. coccineus": "took"}


def test_a_table_with_our_own_headings_is_asked_nothing(empty):
    _, client = empty
    client.get("/start")
    client.send("/start/plants", list=LIST)
    client.get("/start")
    ours = "date,seed_parent,pollen_parent,units,took\n2024-05-04,E. coccineus,E. fendleri,5,2\n"
    assert "1 cross to write down" in client.send("/start/crosses", table=ours)


@pytest.mark.parametrize("table", ["", "a,b\n1,2\n", "date,seed parent\n2023-05-01,E. coccineus\n"])
def test_a_table_that_says_too_little_is_refused_and_stays_typed(client, table):
    client.get("/start")
    client.send("/start/crosses", 409, table=table)
    if table:
        assert "seed parent" in client.page or "a,b" in client.page
