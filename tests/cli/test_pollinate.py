"""Logging visits in the demonstration's book."""

from __future__ import annotations

import json
from datetime import date

import pytest

from crosscompat.advice.parents import find_parents
from crosscompat.advice.predict import basis_of, chances_of, parents_of
from crosscompat.book import records
from crosscompat.book.store import open_store
from crosscompat.cli import options
from crosscompat.collection.opening import open_collection

SEED, POLLEN = "COC-F1", "DAS-1"
MAY = ("--on", "2026-05-01")


@pytest.fixture
def page(own):
    """Read the book of the copy; close it again."""
    stores = []

    def read(kind, **where):
        store = open_store(own / "book.sqlite")
        stores.append(store)
        with store.reading() as page:
            return page.current(kind, **where)

    yield read
    for store in stores:
        store.close()


@pytest.fixture
def log(run, own):
    def log(*arguments, **more):
        return run("pollinate", *arguments, "--collection", own, **more)

    return log


@pytest.fixture
def told(answer, own):
    def told(*arguments, **more):
        return answer("pollinate", *arguments, "--collection", own, **more)

    return told


def test_a_visit_begins_a_cross_and_the_next_goes_on_with_it(told, page):
    first = told(SEED, POLLEN, "--count", "4", "--isolation", "cap", *MAY)
    second = told(SEED, POLLEN, "--count", "3", "--isolation", "cap", "--on", "2026-05-04")
    assert (first["cross"], first["begun"], first["units_in_all"], first["visits"]) == ("26-08", True, 4, 1)
    assert (second["cross"], second["begun"], second["units_in_all"], second["visits"]) == ("26-08", False, 7, 2)
    [cross] = page(records.Cross, number="26-08")
    assert [visit.units for visit in page(records.Pollination, cross=cross.id)] == [4, 3]


def test_it_says_which_cross_it_is_and_the_chances_in_words(log):
    first = log(SEED, POLLEN, "--count", "4", "--isolation", "cap", *MAY).stdout
    assert first.splitlines()[2].startswith("26-08, a new cross: Echinocereus coccineus [COC-F1] × Echinocereus ")
    assert "Echinocereus dasyacanthus [DAS-1], 4 flowers, 1 May." in " ".join(first.split())
    assert "A seedling from 4 flowers: about 3 in 4, 75% (45% to 96%)." in first
    assert "invented" in first
    second = log(SEED, POLLEN, "--count", "3", "--isolation", "cap", *MAY).stdout
    assert "26-08, visit 2: " in second
    assert "3 flowers (7 in all)" in " ".join(second.split())


def test_flowers_and_racemes_are_told_apart_on_every_screen(run, answer, log, told, own, page):
    """What cannot be added up is unknown to the forecast, which is then for one flower, as in a fit."""
    from crosscompat.advice.forecast_record import units_of

    told(SEED, POLLEN, "--count", "4", *MAY)
    found = told(SEED, POLLEN, "--count", "2", "--unit", "racemes", *MAY)
    assert (found["units_in_all"], found["flowers"]) == (None, 1)
    assert found["units_by_kind"] == [{"kind": "flower", "count": 4}, {"kind": "raceme", "count": 2}]
    shown = log(SEED, POLLEN, "--count", "1", *MAY).stdout
    assert "1 flower (5 flowers and 2 racemes in all)" in " ".join(shown.split())
    story = answer("observe", found["cross"], "--swelling", "9", "--on", "2026-05-20", "--collection", own)
    assert (story["totals"]["units"], story["totals"]["pods_set"]) == (None, 9)
    assert story["units_by_kind"] == [{"kind": "flower", "count": 5}, {"kind": "raceme", "count": 2}]
    seen = run("observe", found["cross"], "--collection", own).stdout
    assert "5 flowers and 2 racemes pollinated, 9 fruit set" in " ".join(seen.split())
    label = answer("label", found["cross"], "--collection", own)["cards"][0]
    assert label["units"] == ""
    [cross] = [one for one in open_collection(own).crosses if one.id == found["id"]]
    assert (cross.units, cross.unit_kind) == (None, "flower; raceme")
    assert page(records.GivenForecast)[-1].flowers == units_of(cross)
    log(SEED, POLLEN, "--all-open", *MAY)
    assert "in all" not in log(SEED, POLLEN, "--count", "1", "--marker", "on the left", *MAY).stdout


def test_the_same_visit_entered_twice_is_asked_about(log, told, page):
    told(SEED, POLLEN, "--count", "4", *MAY)
    size = len(page(records.Pollination))
    outcome = log(SEED, POLLEN, "--count", "4", *MAY, code=1)
    assert "26-08 already has this pollination: 1 May 2026, same count." in outcome.stderr
    assert len(page(records.Pollination)) == size
    assert told(SEED, POLLEN, "--count", "4", *MAY, "--anyway")["overruled"] is None
    told(SEED, POLLEN, "--count", "4", "--marker", "a second branch", *MAY)
    assert len(page(records.Pollination)) == size + 2


def test_the_chances_of_the_moment_are_stored_as_they_were_told(told, own, page):
    before = len(page(records.GivenForecast))
    found = told(SEED, POLLEN, "--count", "4", *MAY)
    collection = open_collection(own)
    pair = find_parents(collection, SEED, POLLEN)
    model = basis_of(collection).model
    expected = chances_of(collection, model, parents_of([pair]), [4])
    assert found["chance"]["mean"] == expected.mean[0]
    stored = page(records.GivenForecast)[before:]
    assert [(one.cross, one.model, one.flowers, one.date) for one in stored] == [
        (found["id"], collection.saved.fingerprint[:12], 4, options.today())
    ]
    assert (stored[0].seed_plant, stored[0].pollen_plant) == (SEED, POLLEN)
    assert (stored[0].seed_parent, stored[0].pollen_parent) == ("Echinocereus coccineus", "Echinocereus dasyacanthus")
    assert stored[0].mean == pytest.approx(expected.mean[0], rel=1e-5)


def test_chances_that_are_the_same_are_stored_once_a_day(told, page):
    before = len(page(records.GivenForecast))
    told(SEED, POLLEN, "--count", "4", *MAY)
    told(SEED, POLLEN, "--count", "4", "--again", *MAY)
    assert len(page(records.GivenForecast)) == before + 1
    told(SEED, POLLEN, "--count", "1", *MAY)
    assert [one.flowers for one in page(records.GivenForecast)[before:]] == [4, 5]


def test_without_a_model_the_prior_is_stored(told, own, page, monkeypatch):
    """The crosses of the demonstration are left out of it."""
    monkeypatch.setattr("crosscompat.advice.predict.FITTED_AT_ONCE", 0)
    (own / "model.json").unlink()
    assert told(SEED, POLLEN, *MAY)["model"] == "prior"
    assert page(records.GivenForecast)[-1].model == "prior"


def test_a_forecast_that_was_stored_on_the_day_can_count_for_the_cross(told, own):
    """The ledger finds the line by the cross's identifier, and for as many flowers."""
    from crosscompat.advice.forecast_record import units_of

    found = told(SEED, POLLEN, "--count", "4", "--on", options.today().isoformat())
    collection = open_collection(own)
    [cross] = [one for one in collection.crosses if one.id == found["id"]]
    [line] = [one for one in collection.forecasts if one.cross == cross.id]
    assert (line.flowers, line.date) == (units_of(cross), cross.date)


@pytest.mark.parametrize(
    ("arguments", "marks", "queried"),
    [
        (["COC-M1", "TRI-1"], "male as seed parent", ["COC-M1"]),
        (["TRI-1", "COC-F1"], "female as pollen parent", ["COC-F1"]),
        (["COC-B1", "COC-B2"], "selfing within a clone", []),
        (["COC-B1", "COC-B1"], "selfing within a clone", []),
        (["COC-M1", "COC-F1"], "male as seed parent; female as pollen parent", ["COC-M1", "COC-F1"]),
    ],
)
def test_what_cannot_be_stops_and_is_marked_when_written_all_the_same(run, told, page, own, arguments, marks, queried):
    size = len(page(records.Pollination))
    stopped = told(*arguments, *MAY, code=1)
    assert (stopped["written"], [one["kind"] for one in stopped["obstacles"]]) == (False, marks.split("; "))
    assert len(page(records.Pollination)) == size
    written = told(*arguments, *MAY, "--anyway")
    assert (written["written"], written["overruled"], len(written["queries"])) == (True, marks, len(queried))
    assert page(records.Pollination)[-1].overruled == marks
    for plant in queried:
        assert f"Noted as {'fe' * (plant == 'COC-F1')}male" in run("plant", plant, "--collection", own).stdout


def test_a_cross_that_is_over_lost_or_of_another_season_is_asked_about_and_nothing_is_marked(told, log, page):
    size = len(page(records.Pollination))
    late = ("--cross", "22-13", "--count", "2", *MAY)
    asked = told(*late, code=1)
    kinds = ["cross of another season", "cross that is over", "cross that was lost"]
    assert [one["kind"] for one in asked["obstacles"]] == kinds
    outcome = log(*late, code=1)
    assert "made in 2022, and this visit is of 2026" in outcome.stderr
    assert "was lost to damping off" in outcome.stderr
    assert "--anyway" in outcome.stderr
    assert outcome.stdout == ""
    assert log(*late, "--dry-run", code=1).stdout == ""
    assert len(page(records.Pollination)) == size
    written = told(*late, "--anyway")
    assert (written["written"], written["cross"], written["overruled"]) == (True, "22-13", None)
    assert page(records.Pollination)[size:][0].overruled is None


def test_a_cross_that_is_under_way_is_asked_about_only_once_it_is_over_or_lost(run, told, own):
    first = told(SEED, POLLEN, "--count", "4", *MAY)["cross"]
    named = ("--cross", first, "--count", "1", "--on", "2026-05-02")
    assert told(*named)["obstacles"] == []
    run("observe", first, "--over", "set", "--on", "2026-06-20", "--collection", own)
    assert [one["kind"] for one in told(*named, code=1)["obstacles"]] == ["cross that is over"]
    other = told(SEED, "DAS-2", "--count", "4", *MAY)["cross"]
    run("observe", other, "--lost", "hail", "--on", "2026-06-20", "--collection", own)
    assert [one["kind"] for one in told("--cross", other, *MAY, code=1)["obstacles"]] == ["cross that was lost"]
    assert told(SEED, POLLEN, "--count", "4", *MAY)["cross"] not in {first, other}


def test_stored_pollen_of_another_plant_makes_another_cross(run, told, log, own):
    first = told(SEED, POLLEN, *MAY)["cross"]
    for plant, lot in ((POLLEN, "D"), ("DAS-2", "E")):
        run("plant", plant, "--pollen", lot, "--collected", "2026-04-30", "--collection", own)
    assert told("--cross", first, "--lot", "D", *MAY)["visits"] == 2
    assert "other pollen" in log("--cross", first, "--lot", "E", *MAY, code=2).stderr


def test_a_cross_that_is_named_is_no_check_because_one_is_said(told, log, page):
    cross = told(SEED, POLLEN, *MAY)["cross"]
    check = told(SEED, POLLEN, "--check", "seed", *MAY)["cross"]
    size = len(page(records.Pollination))
    said = log("--cross", cross, "--check", "seed", *MAY, code=2).stderr
    assert f"The cross {cross} is a cross of two parents and not a check of the seed parent." in said
    assert "not flowers left alone" in log("--cross", check, "--left-alone", *MAY, code=2).stderr
    log("--cross", check, "--check", "pollen", *MAY, code=2)
    assert len(page(records.Pollination)) == size
    assert told("--cross", check, "--check", "seed", *MAY)["kind"] == told("--cross", check, *MAY)["kind"]


def test_on_a_terminal_it_asks(log, page, monkeypatch):
    from crosscompat.cli import session

    size = len(page(records.Pollination))
    monkeypatch.setattr(session, "confirm", lambda question: False)
    assert "COC-M1 is noted as male" in log("COC-M1", "TRI-1", *MAY, code=1).stderr
    assert len(page(records.Pollination)) == size
    monkeypatch.setattr(session, "confirm", lambda question: True)
    log("COC-M1", "TRI-1", *MAY)
    assert page(records.Pollination)[size:][0].overruled == "male as seed parent"


def test_without_a_terminal_it_says_how_to_write_it_all_the_same(log):
    outcome = log("COC-M1", "TRI-1", *MAY, code=1)
    assert "--anyway" in outcome.stderr
    assert outcome.stdout == ""


def test_a_dead_plant_stops_and_its_stored_pollen_does_not(run, told, own):
    run("plant", POLLEN, "--died", "2026-04-20", "--pollen", "D", "--collected", "2026-04-10", "--kept", "freezer",
        "--collection", own)  # fmt: skip
    assert [one["kind"] for one in told(SEED, POLLEN, *MAY, code=1)["obstacles"]] == ["dead pollen parent"]
    found = told(SEED, "--lot", "D", *MAY)
    assert (found["written"], found["lot"], found["pollen"][0]["plant"]) == (True, "D", POLLEN)
    early = told(SEED, POLLEN, "--lot", "D", "--on", "2026-04-09", code=1)
    assert [one["kind"] for one in early["obstacles"]] == ["pollen collected after the visit"]


def test_selfing_on_purpose_is_no_mistake(told, page):
    found = told("COC-B1", "--self", "--isolation", "bag", *MAY)
    assert (found["obstacles"], found["pollen_kind"], found["chance"]) == ([], "self", None)
    assert page(records.Pollen)[-1].plant == page(records.Plant, name="COC-B1")[0].id


@pytest.mark.parametrize(
    ("arguments", "kind", "pollen_kind", "why"),
    [
        ([SEED, "--open"], "cross", "open", "No pollen parent: no forecast"),
        ([SEED, "--sib"], "cross", "sib", "Selfed or sibling: no forecast"),
        ([SEED, "--none", "--isolation", "bag"], "cross", "none", "No pollen parent: no forecast"),
        ([SEED, "--left-alone", "--isolation", "bag"], "left alone", "none", "A check: no forecast"),
        ([SEED, POLLEN, "--check", "seed"], "check of the seed parent", "one", "A check: no forecast"),
        ([SEED, POLLEN, "--check", "pollen"], "check of the pollen", "one", "A check: no forecast"),
        ([SEED, POLLEN, "--technique", "cut style"], "cross", "one", "the plain brush"),
        ([SEED, "DAS-1", "ENG-1"], "cross", "several", "Unsure pollen parent"),
        ([SEED, "DAS-1", "--certainty", "unknown"], "cross", "one", "Unsure pollen parent"),
        ([SEED, "Echinocereus sp. QX 12"], "cross", "one", "Not on the tree"),
        (["Echinocereus aff. coccineus", POLLEN], "cross", "one", "Not on the tree"),
    ],
    ids=str,
)
def test_what_makes_no_pairing_has_no_chances_and_is_written(told, page, arguments, kind, pollen_kind, why):
    before = len(page(records.GivenForecast))
    found = told(*arguments, *MAY)
    assert (found["kind"], found["pollen_kind"], found["chance"], found["written"]) == (kind, pollen_kind, None, True)
    assert why in found["no_chance"]
    assert len(page(records.GivenForecast)) == before


def test_pollen_of_two_plants_of_one_species_has_the_chances_of_the_species(told, page):
    found = told(SEED, "DAS-1", "DAS-2", "--certainty", "likely", *MAY)
    assert found["chance"] is not None
    assert [(one["plant"], one["certainty"]) for one in found["pollen"]] == [("DAS-1", "likely"), ("DAS-2", "likely")]
    assert page(records.GivenForecast)[-1].pollen_plant is None


def test_species_are_enough_and_are_read_as_anywhere(told, page):
    found = told("Echinocereus coccineus", "E. dasyacanthus", *MAY)
    assert (found["seed_plant"], found["pollen"][0]["name"]) == (None, "Echinocereus dasyacanthus")
    [cross] = page(records.Cross, number=found["cross"])
    assert (cross.seed_plant, cross.seed_parent) == (None, "Echinocereus coccineus")
    assert page(records.Pollen)[-1].name == "Echinocereus dasyacanthus"


@pytest.mark.parametrize("arguments", [["COC-F9", POLLEN], [SEED, "Echinocereus dasyacantus"], [SEED, "my red one"]])
def test_a_name_that_is_not_known_stops_with_the_nearest_and_can_be_written_all_the_same(told, page, arguments):
    stopped = told(*arguments, *MAY, code=1)
    [found] = stopped["obstacles"]
    assert found["kind"] == "unknown name"
    assert "The nearest are: " in found["says"]
    written = told(*arguments, *MAY, "--anyway")
    assert (written["overruled"], written["chance"]) == (None, None)
    assert page(records.Pollination)[-1].overruled is None


def test_a_formula_with_a_misspelt_species_is_written_and_told_with_the_nearest(told):
    found = told(SEED, "Echinocereus coccinius × E. dasyacanthus", "--isolation", "cap", *MAY)
    assert found["written"]
    [says] = [one["says"] for one in found["warnings"] if one["kind"] == "name"]
    assert "“Echinocereus coccinius” is not on the tree" in says
    assert "Echinocereus coccineus" in says


def test_everything_that_is_told_is_kept(told, page):
    told(SEED, POLLEN, *MAY, "--hour", "14:05", "--by", "Ida", "--marker", "raceme 2, red thread", "--unit", "raceme",
         "--count", "2", "--about", "--technique", "mentor pollen", "--isolation", "tied shut", "--stamens-left",
         "--temperature", "23.5", "--humidity", "40", "--aim", "hardy", "--wanted", "5", "--number", "Ida 7",
         "--note", "a bee was there")  # fmt: skip
    [cross] = page(records.Cross, number="Ida 7")
    [visit] = page(records.Pollination, cross=cross.id)
    assert (cross.aim, cross.wanted, cross.kind) == ("hardy", 5, "cross")
    kept = {name: getattr(visit, name) for name in visit.__dataclass_fields__ if name not in {"id", "cross"}}
    assert kept == {
        "date": date(2026, 5, 1), "date_words": None, "hour": options.hour("14:05"), "who": "Ida",
        "marker": "raceme 2, red thread",
        "unit_kind": "raceme", "units": 2, "count_how": "about", "flowers": "new", "pollen_kind": "one",
        "technique": "mentor pollen", "stamens_removed": False, "isolation": "tied shut", "temperature": 23.5,
        "humidity": 40.0, "overruled": None, "note": "a bee was there",
    }  # fmt: skip


def test_all_that_were_open_need_not_be_counted(told, page):
    told(SEED, POLLEN, "--all-open", *MAY)
    assert (page(records.Pollination)[-1].units, page(records.Pollination)[-1].count_how) == (None, "all open")


def test_the_hand_is_taken_from_the_environment(run, page, own):
    run("pollinate", SEED, POLLEN, "--collection", own, *MAY, CROSSCOMPAT_GROWER="Jo")
    assert page(records.Pollination)[-1].who == "Jo"


def test_a_cross_that_is_named_needs_no_parents_again(told):
    first = told(SEED, POLLEN, "--count", "4", *MAY)
    again = told("--cross", first["cross"], "--again", "--count", "4", "--on", "2026-05-02")
    assert (again["cross"], again["visits"], again["units_in_all"]) == (first["cross"], 2, 4)
    assert (again["seed_plant"], again["pollen"][0]["plant"]) == (SEED, POLLEN)
    old = told("--cross", "26-07", "--count", "1", "--on", "2026-06-07")
    assert (old["cross"], old["begun"], old["obstacles"]) == ("26-07", False, [])


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ([SEED, POLLEN, "--on", "2999-01-01"], "in the future"),
        ([SEED, POLLEN, "--hour", "25:00"], "no time of day"),
        ([SEED], "Name a pollen parent"),
        ([SEED, POLLEN, "--open"], "not both"),
        ([SEED, "--open", "--self"], "only one of these"),
        ([SEED, POLLEN, "--left-alone"], "not both"),
        ([SEED, "--left-alone", "--self"], "get no pollen"),
        ([SEED, "--left-alone", "--check", "seed"], "not both"),
        ([SEED, POLLEN, "--count", "3", "--about", "--all-open"], "--about or --all-open"),
        ([SEED, POLLEN, "--about"], "goes with --count"),
        ([SEED, POLLEN, "--certainty", "perhaps"], "--certainty is one of: certain, likely, unknown"),
        ([SEED, "DAS-1", "DAS-2", "ENG-1", "--certainty", "certain", "--certainty", "likely"], "once for each"),
        ([SEED, POLLEN, "--cross", "26-01"], "other pollen"),
        (["TRI-1", POLLEN, "--cross", "26-01"], "was made on COC-F1"),
        ([SEED, POLLEN, "--cross", "26-99"], "no cross with the number"),
        ([SEED, POLLEN, "--cross", "26-01", "--number", "mine"], "only one of them"),
        ([SEED, POLLEN, "--number", "26-01"], "is another cross"),
        ([SEED, POLLEN, "--again"], "none to repeat"),
        ([SEED, "--lot", "nothing"], "no stored pollen"),
        ([SEED, POLLEN, "ENG-1", "--lot", "L"], "from one plant"),
        ([SEED, POLLEN, "--count", "0"], "--count is at least 1, not 0"),
        ([SEED, POLLEN, "--wanted", "6"], "--wanted is at most 5, not 6"),
        ([SEED, POLLEN, "--isolation", "string"], "string"),
    ],
    ids=str,
)
def test_two_for_what_contradicts_itself_or_the_book_and_nothing_is_written(log, page, arguments, says):
    size = len(page(records.Pollination))
    assert says in " ".join(log(*arguments, code=2).stderr.split())
    assert len(page(records.Pollination)) == size


def test_a_lot_is_of_its_own_plant(run, log, own):
    run("plant", "ENG-1", "--pollen", "E", "--collected", "2026-04-28", "--collection", own)
    assert "belongs to another plant" in log(SEED, POLLEN, "--lot", "E", *MAY, code=2).stderr


def test_a_dry_run_says_the_same_and_writes_nothing(told, own):
    content = (own / "book.sqlite").read_bytes()
    dry = told(SEED, POLLEN, "--count", "4", *MAY, "--dry-run")
    assert (dry["written"], dry["cross"]) == (False, "26-08")
    assert (own / "book.sqlite").read_bytes() == content
    wet = told(SEED, POLLEN, "--count", "4", *MAY)
    assert {key: value for key, value in wet.items() if key not in {"id", "written"}} == {
        key: value for key, value in dry.items() if key not in {"id", "written"}
    }


def kinds(found):
    return [one["kind"] for one in found["warnings"]]


def test_it_warns_of_what_may_go_wrong_each_once(told):
    bare = told(SEED, "TRI-1", *MAY)
    assert kinds(bare) == ["isolation", "ploidy"]
    assert kinds(told(SEED, "TRI-1", "--isolation", "cap", *MAY)) == ["ploidy"]
    assert "stamens" in kinds(told("COC-B1", "DAS-1", "--isolation", "cap", *MAY))
    assert "stamens" not in kinds(told("COC-B1", "DAS-1", "--isolation", "cap", "--stamens-removed", *MAY))
    late = told(SEED, POLLEN, "--isolation", "cap", "--on", "2025-09-01")
    assert kinds(late).count("window") == 2


def test_an_old_lot_is_told(run, told, own):
    run("plant", POLLEN, "--pollen", "D", "--collected", "2026-01-01", "--kept", "a drawer", "--collection", own)
    found = told(SEED, "--lot", "D", "--isolation", "cap", *MAY)
    assert "120 days old" in found["warnings"][0]["says"]


def test_the_caution_on_spines_comes_with_the_first_visit_of_a_season(told):
    first = told(SEED, POLLEN, "--on", "2020-05-01")
    assert [one["kind"] for one in first["handling"]] == ["handling"]
    assert told(SEED, POLLEN, "--on", "2020-05-02")["handling"] == []


def test_ours_are_the_numbers_where_none_were_settled(told, own):
    settings = own / "collection.toml"
    lines = settings.read_text(encoding="utf-8").splitlines()
    settings.write_text("\n".join(one for one in lines if not one.startswith("cross_number")), encoding="utf-8")
    assert [told(SEED, other, *MAY)["cross"] for other in ("DAS-1", "ENG-1")] == ["26-001K", "26-002E"]


def test_a_season_that_was_logged_is_labelled_and_learned_from(run, told, own):
    found = told(SEED, POLLEN, "--count", "4", *MAY)
    assert found["cross"] in run("label", found["cross"], "--collection", own, "-o", "-").stdout
    run("retrain", "--collection", own, "--dry-run", "--as-of", "2026-11-01")


def test_plants_of_its_own_kind_may_be_determined_less_surely(run, told, own):
    for plant, species in (("X-1", "Echinocereus cf. engelmannii"), ("X-2", "Echinocereus scheeri")):
        run("plant", plant, "--new", "--as", species, "--sex", "both", "--collection", own)
    [found] = [one["says"] for one in told("ENG-1", POLLEN, *MAY)["warnings"] if one["kind"] == "isolation"]
    assert "1 plant of its own kind may shed pollen nearby: X-1." in found


def test_visits_that_are_logged_at_once_are_all_kept_under_numbers_of_their_own(process, own, page):
    before = len(page(records.Pollination))
    others = ("DAS-1", "ENG-1", "FAS-1", "BON-1")
    running = [process("pollinate", SEED, other, *MAY, "--json", folder=own, wait=False) for other in others]
    told = [one.communicate(timeout=120)[0] for one in running]
    ended = [one.returncode for one in running]
    answers = [json.loads(text) for text, code in zip(told, ended, strict=True) if code == 0]
    assert set(ended) <= {0, 4}
    assert len({one["cross"] for one in answers}) == len(answers) == ended.count(0) > 0
    assert len(page(records.Pollination)) == before + len(answers)
