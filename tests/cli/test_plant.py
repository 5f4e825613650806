"""Plants of the demonstration's book: their cards, and what is told of them."""

from __future__ import annotations

from datetime import timedelta

import pytest

from crosscompat.book import records
from crosscompat.book.store import open_store
from crosscompat.cli import options

MAY = ("--on", "2026-05-01")


@pytest.fixture
def count(own):
    """How many records of a kind stand in the book of the copy."""

    def count(kind):
        store = open_store(own / "book.sqlite")
        with store.reading() as page:
            found = len(page.current(kind))
        store.close()
        return found

    return count


@pytest.fixture
def say(run, own):
    return lambda *arguments, **more: " ".join(run("plant", *arguments, "--collection", own, **more).stdout.split())


@pytest.fixture
def told(answer, own):
    return lambda *arguments, **more: answer("plant", *arguments, "--collection", own, **more)


def test_without_a_name_the_plants_are_listed_the_living_first(run, told, own):
    listed = told()
    assert (len(listed["plants"]), listed["card"], listed["written"]) == (32, None, False)
    names = [one["plant"] for one in listed["plants"]]
    assert names == sorted(names)
    told("ARI-1", "--died", "2026-03-01")
    last = told()["plants"][-1]
    assert (last["plant"], last["died"]) == ("ARI-1", "2026-03-01")
    screen = run("plant", "--collection", own).stdout
    assert "COC-F1  Echinocereus coccineus" in screen
    assert screen.rstrip().endswith("dead since 1 March")


def test_an_empty_book_says_how_to_begin(run, empty_folder):
    run("new", "mine", "--tree", "echinocereus")
    assert "--new" in run("plant", "--collection", "mine").stdout


def test_the_card_says_what_is_known_of_a_plant(told):
    card = told("COC-F1")["card"]
    assert (card["species"], card["placed"]) == ("Echinocereus coccineus", True)
    assert {one["what"]: one["value"] for one in card["findings"]} == {
        "sex": "female", "2n": "44", "self_fertile": "no",
    }  # fmt: skip
    assert card["flowering"]["usual"] == "19 April to 7 May"
    assert card["flowering"]["open_now"] is None
    took = {"number": "21-03", "date": "2021-05-02", "other": "DAS-1", "outcome": "took"}
    took |= {"lost_to": None, "date_words": None}
    assert took in card["as_mother"]
    assert card["as_father"] == []
    assert len(told("DAS-1")["card"]["as_father"]) > 0
    assert told("COC-B1")["card"]["offsets"] == ["COC-B2"]


def test_a_card_can_be_read(say):
    card = say("COC-F1")
    for words in (
        "COC-F1: Echinocereus coccineus (determined, no date)",
        "Findings sex: female",
        "usually open 19 April to 7 May (seen open on 10 days)",
        "21-03, 2 May 2021, with DAS-1: gave a seedling",
    ):
        assert words in card
    assert "Written" not in card
    assert "nothing" not in card.split("Determinations")[0]


@pytest.mark.parametrize("arguments", [["COC-F9"], ["COC-F9", "--place", "house 1"]])
def test_a_typing_error_makes_no_plant_and_names_the_nearest(run, own, count, arguments):
    before = count(records.Plant)
    outcome = run("plant", *arguments, "--collection", own, code=2)
    assert "COC-F1" in outcome.stderr
    assert "--new" in outcome.stderr
    assert count(records.Plant) == before


def test_a_plant_that_is_received_has_its_papers_mentioned_once(say, told):
    said = say("N-1", "--new", "--received-as", "Echinocereus sp.", "--papers", "invoice 12", "--source", "a friend",
               "--as", "Echinocereus cf. coccineus", *MAY)  # fmt: skip
    assert said.count("CITES") == 1
    assert "received as Echinocereus sp." in said
    assert "N-1: Echinocereus cf. coccineus (determined 1 May 2026)" in say("N-1")
    assert "CITES" not in say("N-1", "--place", "house 1")
    assert "CITES" not in say("N-1")
    card = told("N-1")["card"]
    assert [one["name"] for one in card["determinations"]] == ["Echinocereus cf. coccineus"]
    record = card["record"]
    assert (record["received_as"], record["papers"], record["place"]) == ("Echinocereus sp.", "invoice 12", "house 1")


@pytest.mark.parametrize(
    ("arguments", "kinds"),
    [
        (["--acquired", "2026-04-01"], ["permits"]),
        (["--owner", "Ida"], ["permits"]),
        (["--pollen", "P"], []),
        (["--sex", "both"], []),
        (["--parents", "Echinocereus coccineus × E. dasyacanthus"], ["escaping"]),
        (["--raised-from", "25-01", "--source", "own seed"], ["permits", "escaping"]),
    ],
)
def test_cautions_stand_where_they_belong(told, arguments, kinds):
    assert [one["kind"] for one in told("N-1", "--new", *arguments)["cautions"]] == kinds


def test_pollen_of_somebody_elses_plant_may_need_papers_too(told):
    told("N-1", "--new", "--owner", "Ida")
    assert [one["kind"] for one in told("N-1", "--pollen", "P")["cautions"]] == ["permits"]


def test_a_seedling_of_a_cross_becomes_a_plant(told, run, own):
    card = told("--raised-from", "25-01")["card"]
    assert (card["record"]["name"], card["raised_from"]) == ("25-01/1", "25-01")
    assert card["species"] == "Echinocereus coccineus × Echinocereus dasyacanthus"
    assert told("--raised-from", "25-01")["card"]["record"]["name"] == "25-01/2"
    assert "raised from the cross 25-01" in run("plant", "25-01/1", "--collection", own).stdout
    found = run("pollinate", "25-01/1", "RIG-1", *MAY, "--collection", own).stdout
    assert "[25-01/1]" in found


def test_the_latest_determination_decides_what_is_crossed(told, answer, own):
    told("TRI-2", "--as", "Echinocereus arizonicus")
    assert answer("ask", "TRI-2", "DAS-1", "--collection", own)["pairing"]["seed_parent"] == "Echinocereus arizonicus"


def test_flowers_open_now_are_told_for_a_week(told):
    today = options.today()
    assert told("TRI-1", "--flowers", "4")["card"]["flowering"]["open_now"] is True
    assert told("TRI-1", "--flowers", "0")["card"]["flowering"]["open_now"] is False
    last_month = (today - timedelta(days=30)).isoformat()
    assert told("TRI-2", "--flowers", "4", "--on", last_month)["card"]["flowering"]["open_now"] is None


def test_flowers_that_are_over_are_no_day_of_the_window(told):
    before = told("TRI-1")["card"]["flowering"]
    after = told("TRI-1", "--flowers", "0", "--on", "2026-08-01")["card"]["flowering"]
    assert (after["usual"], after["days"]) == (before["usual"], before["days"])


def test_findings_hold_against_the_species_at_once(told, answer, own):
    told("TRI-2", "--sex", "male", "--how", "no ovary")
    assert answer("pollinate", "TRI-2", "DAS-1", *MAY, "--collection", own, code=1)["written"] is False
    told("TRI-2", "--sex", "both", "--how", "a fruit in 2026")
    assert answer("pollinate", "TRI-2", "DAS-1", *MAY, "--collection", own)["written"] is True


def test_a_finding_that_is_corrected_is_no_longer_queried(told, answer, own):
    answer("pollinate", "COC-M1", "TRI-1", *MAY, "--anyway", "--collection", own)
    assert len(told("COC-M1")["card"]["queries"]) == 1
    assert told("COC-M1", "--sex", "male that sometimes fruits")["card"]["queries"] == []


def test_a_dry_run_writes_nothing(told, count, say):
    dry = told("N-1", "--new", "--place", "house 1", "--dry-run")
    assert (dry["written"], dry["wrote"]) == (False, ["new plant", "stands in house 1"])
    assert dry["card"]["record"]["place"] == "house 1"
    assert count(records.Plant) == 32
    assert "COC-F1 (dry run, nothing written): dead since 1 May 2026." in say(
        "COC-F1", "--died", "2026-05-01", "--dry-run"
    )
    assert told("COC-F1")["card"]["record"]["died"] is None


def test_what_is_known_already_is_not_written_again(told, say):
    told("COC-F1", "--place", "house 1")
    again = told("COC-F1", "--place", "house 1")
    assert (again["written"], again["wrote"]) == (False, [])
    assert "the book has all of that already" in say("COC-F1", "--place", "house 1")


def test_every_option_is_kept(told):
    card = told(
        "N-1", "--new", "--as", "Echinocereus scheeri", *MAY, "--by", "Ida", "--received-as", "E. sp.", "--clone",
        "SCH-1", "--accession", "2026/7", "--field-number", "QX 12", "--source", "a friend", "--papers", "none",
        "--owner", "Jo", "--place", "house 1", "--acquired", "2026-04-01", "--died", "2026-06-01", "--sex", "both",
        "--2n", "22", "--self-fertile", "no", "--fertility", "pollen stains 90%", "--first-flower", "2026-04-30",
        "--how", "seen", "--flowers", "3", "--pollen", "P", "--kept", "freezer", "--dried", "--collected",
        "2026-05-01", "--tested", "2026-05-02", "--result", "good", "--note", "spines white",
    )["card"]  # fmt: skip
    told_plainly = {
        "received_as": "E. sp.", "clone": "SCH-1", "accession": "2026/7",
        "field_number": "QX 12", "source": "a friend", "papers": "none", "owner": "Jo", "place": "house 1",
        "acquired": "2026-04-01", "died": "2026-06-01", "note": "spines white", "parents": None,
    }  # fmt: skip
    assert {name: card["record"][name] for name in told_plainly} == told_plainly
    assert card["offsets"] == ["SCH-1"]
    (named,) = card["determinations"]
    assert (named["name"], named["date"], named["by"]) == ("Echinocereus scheeri", "2026-05-01", "Ida")
    assert {one["what"]: (one["value"], one["how"], one["by"]) for one in card["findings"]} == {
        "sex": ("both", "seen", "Ida"), "2n": ("22", "seen", "Ida"), "self_fertile": ("no", "seen", "Ida"),
        "fertility": ("pollen stains 90%", "seen", "Ida"), "first_flower": ("2026-04-30", "seen", "Ida"),
    }  # fmt: skip
    (lot,) = card["pollen"]
    told_of_pollen = {
        "name": "P", "collected": "2026-05-01", "dried": True, "kept": "freezer", "tested": "2026-05-02",
        "test_result": "good",
    }  # fmt: skip
    assert {name: lot[name] for name in told_of_pollen} == told_of_pollen
    assert (card["flowering"]["first"], card["flowering"]["days"]) == ("05-01", 1)


def test_a_misspelt_species_is_written_as_it_stands_and_told_with_the_nearest(run, answer, own):
    found = answer("plant", "Q", "--new", "--as", "Echinocereus coccinius", "--collection", own)
    assert found["card"]["species"] == "Echinocereus coccinius"
    assert [one["kind"] for one in found["cautions"]] == ["name"]
    shown = " ".join(run("plant", "R", "--new", "--as", "Echinocereus coccinius", "--collection", own).stdout.split())
    assert "“Echinocereus coccinius” is not on the tree. The nearest names are: Echinocereus" in shown
    assert "coccineus" in shown
    assert ".." not in shown
    formula = answer(
        "plant", "S", "--new", "--parents", "Echinocereus coccinius × E. dasyacanthus", "--collection", own
    )
    assert [one["kind"] for one in formula["cautions"]] == ["name", "escaping"]
    right = answer("plant", "T", "--new", "--as", "Echinocereus coccineus", "--collection", own)
    assert right["cautions"] == []


@pytest.mark.parametrize(
    ("written", "named", "note"),
    [
        ("aggregatus", "Echinocereus coccineus", "“aggregatus” is a synonym; the name used here is Echinocereus"),
        ("E. aggregatus", "Echinocereus coccineus", "“E. aggregatus” is a synonym; the name used here is"),
        ("Echinocereus aggregatus", "Echinocereus aggregatus", ""),
        ("E. coccineus 'Red Lamp'", "Echinocereus coccineus 'Red Lamp'", ""),
        ("coccineus", "Echinocereus coccineus", ""),
    ],
)
def test_a_species_is_found_as_ask_finds_it_and_told_which_it_is(told, say, own, written, named, note):
    table = "name,accepted\nEchinocereus aggregatus,Echinocereus coccineus\n"
    (own / "synonyms.csv").write_text(table, encoding="utf-8")
    settings = (own / "collection.toml").read_text(encoding="utf-8")
    (own / "collection.toml").write_text(f'synonyms = "synonyms.csv"\n{settings}', encoding="utf-8")
    assert note in " ".join(told("N-1", written)["notes"])
    assert [one["name"] for one in told("N-1")["card"]["determinations"]] == [named]
    said = say("N-2", "--new", "--as", written)
    assert f"N-2: new plant; named {named}." in said
    assert note in said


def test_a_name_that_ends_in_a_full_stop_ends_the_sentence_too(run, own):
    shown = run("plant", "Q sp.", "--new", "--as", "Echinocereus sp.", "--collection", own).stdout
    assert "named Echinocereus sp.\n" in shown
    assert "Echinocereus sp..\n" not in shown
    said = run("plant", "Q  spp.", "--collection", own, code=2).stderr
    assert "The nearest are: Q sp. For a new plant" in " ".join(said.split())


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["COC-F1", "--new"], "There is a plant COC-F1 already"),
        (["COC-F1", "--died", "2999-01-01"], "in the future"),
        (["COC-F1", "--flowers", "2", "--on", "2999-01-01"], "in the future"),
        (["COC-F1", "--first-flower", "2999-01-01"], "in the future"),
        (["COC-F1", "--kept", "fridge"], "go with --pollen"),
        (["COC-F1", "--pollen", "P", "--collected", "2999-01-01"], "in the future"),
        (["COC-F1", "--how", "seen"], "--how says"),
        (["COC-F1", "--sex", "hen"], "--sex"),
        (["COC-F1", "--as", "Q. coccineus"], "genus in full"),
        (["COC-F1", "--as", "xyzzy"], "“xyzzy” is not a name known here. Did you mean"),
        (["COC-F1", "--raised-from", "99-99"], "no cross with the number"),
        (["--place", "house 1"], "Name the plant"),
        (["--new"], "Name the plant"),
    ],
    ids=str,
)
def test_two_for_what_contradicts_itself_or_the_book(run, own, arguments, says):
    assert says in " ".join(run("plant", *arguments, "--collection", own, code=2).stderr.split())
