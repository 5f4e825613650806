from __future__ import annotations

import csv
import datetime as dt
import importlib.util
import tomllib
import uuid
from collections import Counter, defaultdict
from dataclasses import asdict, replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from crosscompat import TakeModel, read_tree
from crosscompat.book.crosses import read_crosses, read_wanted
from crosscompat.book.current_plants import read_plants
from crosscompat.carried import carried_tree
from crosscompat.collection.create import invented_records, make_demonstration, read_forecasts
from crosscompat.collection.opening import open_collection
from crosscompat.collection.settings import FORMAT, Settings, read_settings
from crosscompat.model.training_set import training_set_from
from crosscompat.traits import read_traits

ROOT = Path(__file__).resolve().parents[1]
DEMO = ROOT / "crosscompat" / "demo"
TETRAPLOID = {"coccineus", "dasyacanthus", "engelmannii", "fasciculatus"}

NUMBERS = dict.fromkeys(("id", "model", "mean", "low", "high"))

WORDS = {
    "pollen_kind": {"one", "several", "open", "self", "sib", "none", ""},
    "technique": {"plain", "mentor pollen", ""},
    "isolation": {"bag", "cap", "house", "none", ""},
    "unit_kind": {"flower", ""},
    "closed_stage": {"set", "hold", "fill", "germinate", ""},
    "lost_to": {"damping off", "mice", ""},
    "only_successes": {"yes", ""},
    "source": {"invented"},
}


def read(path, delimiter=","):
    with path.open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines, delimiter=delimiter))


CROSSES = read(DEMO / "crosses.csv")
PLANTS = {row["plant"]: row for row in read(DEMO / "plants.csv")}
WANTED = read(DEMO / "wanted.csv")
TRAITS = {row["species"]: row for row in read(ROOT / "trees" / "echinocereus" / "traits.csv")}
NODES = [
    (float(row["node_age_My"]), set(row["species_under_the_node"].split()))
    for row in read(ROOT / "trees" / "echinocereus" / "nodes.tsv", "\t")
]


def distance(a, b):
    return 0.0 if a == b else 2 * next(age for age, under in NODES if {a, b} <= under)


def finished_pairings():
    """Seed parent, pollen parent, distance, unlike 2n, whether a seedling came: brushed crosses that ran to an end."""
    out = []
    for row in CROSSES:
        if row["pollen_kind"] not in {"one", "several"} or row["lost_to"] or row["only_successes"]:
            continue
        told = [row[column] for column in ("took", "seedlings", "seeds_filled", "pods_held", "pods_set") if row[column]]
        if row["took"] or row["seedlings"] or (told and told[0] == "0"):
            seed, pollen = (row[side].split()[1] for side in ("seed_parent", "pollen_parent"))
            unlike = (seed in TETRAPLOID) != (pollen in TETRAPLOID)
            out.append((seed, pollen, distance(seed, pollen), unlike, told[0] != "0"))
    return out


def share(rows):
    return sum(row[-1] for row in rows) / len(rows)


@pytest.fixture(scope="module")
def maker():
    spec = importlib.util.spec_from_file_location("make_demo", ROOT / "tests" / "demo" / "make_demo.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_crosses_are_what_their_maker_writes(maker, tmp_path):
    maker.write(tmp_path / "crosses.csv")
    assert (DEMO / "crosses.csv").read_bytes() == (tmp_path / "crosses.csv").read_bytes()


def test_days_are_what_their_maker_writes_and_none_is_before_the_one_it_follows(tmp_path):
    spec = importlib.util.spec_from_file_location("make_days", ROOT / "tests" / "demo" / "make_days.py")
    days = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(days)
    days.write(tmp_path / "days.csv")
    assert (DEMO / "days.csv").read_bytes() == (tmp_path / "days.csv").read_bytes()
    brushed = {row["cross"]: row["date"] for row in CROSSES}
    for row in read(DEMO / "days.csv"):
        in_order = [brushed[row["cross"]], *(row[name] for name in days.HEADER[1:] if row[name])]
        assert in_order == sorted(in_order)
        assert in_order[-1] <= "2026-10-31"


def test_the_book_of_the_demonstration_says_what_its_tables_say(tmp_path):
    make_demonstration(tmp_path)
    told, tables = open_collection(tmp_path), invented_records()
    assert [replace(cross, row=0) for cross in told.crosses] == [replace(cross, row=0) for cross in tables.crosses]
    assert told.forecasts == tables.forecasts
    assert [asdict(plant) | {"row": 0} for plant in told.plants.by_name.values()] == [
        asdict(plant) | {"row": 0} for plant in tables.plants.by_name.values()
    ]


@pytest.fixture(scope="module")
def teller():
    spec = importlib.util.spec_from_file_location("make_forecasts", ROOT / "tests" / "demo" / "make_forecasts.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("at", [0, -1])
def test_forecasts_are_what_the_tool_says_of_the_invented_crosses(teller, at, tmp_path):
    """After a change of the model or the priors run ``python tests/demo/make_forecasts.py`` again."""
    day = teller.DAYS[at]
    stored = [line for line in read_forecasts(DEMO / "forecasts.csv") if line.date == day]
    make_demonstration(tmp_path)
    said = teller.said_on(open_collection(tmp_path), day)
    assert [asdict(line) | NUMBERS for line in stored] == [asdict(line) | NUMBERS for line in said]
    for key in ("mean", "low", "high"):
        assert [getattr(line, key) for line in stored] == pytest.approx([getattr(line, key) for line in said], rel=1e-3)


def test_forecasts_are_of_all_days_in_order(teller):
    days = [line.date for line in read_forecasts(DEMO / "forecasts.csv")]
    assert tuple(dict.fromkeys(days)) == teller.DAYS
    assert days == sorted(days)


def test_header_is_the_cross_books():
    header = (
        "id,cross,date,seed_parent,pollen_parent,seed_plant,pollen_plant,grower,pollen_kind,technique,isolation,units,"
        "unit_kind,pods_set,pods_held,seeds,seeds_filled,seeds_sown,seedlings,tried,took,closed_stage,lost_to,"
        "only_successes,source,recorded_at,note"
    )
    assert (DEMO / "crosses.csv").read_text(encoding="utf-8").splitlines()[0] == header


def test_settings_say_that_all_is_invented():
    settings = tomllib.loads((DEMO / "collection.toml").read_text(encoding="utf-8"))
    assert settings["invented"] is True
    assert settings["format"] == FORMAT
    assert {row["source"] for row in PLANTS.values()} == {"invented"}
    kinds = settings["trait_kinds"]
    assert set(kinds) == {
        name for name in next(iter(TRAITS.values())) if f"{name}_source" in next(iter(TRAITS.values()))
    }
    assert set(kinds.values()) <= {"flag", "category", "count", "measure", "months", "text"}


@pytest.mark.parametrize("column", WORDS)
def test_words(column):
    assert {row[column] for row in CROSSES} <= WORDS[column]


def test_every_file_is_read_by_its_own_reader_without_a_fault():
    settings = read_settings(DEMO / "collection.toml")
    carried = carried_tree(settings.traits)
    assert settings.trait_kinds == carried.trait_kinds
    assert (settings.group, settings.fruit_word, settings.tree_unit) == (
        carried.group,
        carried.fruit_word,
        carried.unit,
    )
    table = read_traits(carried.traits, settings.trait_kinds)
    assert {column.name: column.kind for column in table.columns if column.declared} == settings.trait_kinds
    assert all(column.declared or column.kind == "text" for column in table.columns)
    assert len(read_crosses(DEMO / "crosses.csv")) == len(CROSSES)
    assert read_plants(DEMO / "plants.csv").by_name.keys() == PLANTS.keys()
    assert len(read_wanted(DEMO / "wanted.csv")) == len(WANTED)


def test_sizes():
    assert 60 <= len(CROSSES) <= 90
    assert 18 <= len({row["species"] for row in PLANTS.values()}) <= 24
    assert 12 <= len(WANTED) <= 16
    assert Counter(row["date"][:4] for row in CROSSES).keys() == {str(year) for year in range(2021, 2027)}


def test_ids_and_numbers_are_never_reused():
    assert len({uuid.UUID(row["id"]) for row in CROSSES}) == len({row["cross"] for row in CROSSES}) == len(CROSSES)


def test_every_parent_is_a_known_species_and_its_plant_of_that_species():
    for row in CROSSES:
        for side in ("seed", "pollen"):
            species, plant = row[f"{side}_parent"], row[f"{side}_plant"]
            assert species in TRAITS or (side == "pollen" and row["pollen_kind"] in {"open", "none"})
            assert not plant or PLANTS[plant]["species"] == species


def test_counts_never_grow_from_stage_to_stage():
    for row in CROSSES:
        count = {column: int(row[column]) for column in row if row[column].isdigit() and column != "cross"}
        for part, whole in [
            ("pods_set", "units"),
            ("pods_held", "pods_set"),
            ("seeds_filled", "seeds"),
            ("took", "tried"),
        ]:
            if part in count and whole in count:
                assert count[part] <= count[whole], (row["cross"], part)
        for part, whole in [("seeds_sown", "seeds_filled"), ("seedlings", "seeds_sown")]:
            if part in count:
                assert count[part] <= count[whole], (row["cross"], part)
        assert 1 <= count.get("units", count.get("tried", 0)) <= 12
        if "seeds" in count:
            assert 50 <= count["seeds"] / count["pods_held"] <= 400


def test_dates_fall_in_flowering_time_and_are_recorded_later():
    for row in CROSSES:
        day = dt.date.fromisoformat(row["date"])
        assert 4 <= day.month <= 6
        assert dt.datetime.fromisoformat(row["recorded_at"]).date() >= day
        assert row["recorded_at"].endswith("Z")


def test_sexes_allow_the_crosses():
    for row in CROSSES:
        assert PLANTS.get(row["seed_plant"], {}).get("sex") != "male", row["cross"]
        assert PLANTS.get(row["pollen_plant"], {}).get("sex") != "female", row["cross"]


def test_coccineus_has_every_sex_and_two_offsets_of_one_clone():
    coccineus = [row for row in PLANTS.values() if row["species"] == "Echinocereus coccineus"]
    assert {row["sex"] for row in coccineus} == {"female", "male", "both"}
    assert Counter(row["clone"] for row in coccineus if row["clone"]) == {"COC-B": 2}


@pytest.mark.parametrize(
    ("what", "found"),
    [
        ("false swelling", lambda row: "false swelling" in row["note"] and row["pods_held"] == "0"),
        ("tray lost", lambda row: row["lost_to"] == "damping off" and row["seeds_sown"] and not row["seedlings"]),
        ("fruit eaten", lambda row: row["lost_to"] == "mice"),
        ("proved a self", lambda row: "proved a self" in row["note"] and row["seedlings"] == "0"),
        ("under way", lambda row: row["date"] > "2026" and row["closed_stage"] in {"set", "hold"}),
        ("only begun", lambda row: row["date"] > "2026" and row["units"] and not row["closed_stage"]),
        ("a batch of successes", lambda row: row["only_successes"] and int(row["took"]) > 0),
        ("left to the bees", lambda row: row["pollen_kind"] == "open"),
        ("bagged and left alone", lambda row: row["pollen_kind"] == "none"),
        ("selfed", lambda row: row["pollen_kind"] == "self" and row["seed_plant"] == row["pollen_plant"]),
        ("mentor pollen", lambda row: row["technique"] == "mentor pollen"),
        ("two clones", lambda row: row["seed_parent"] == row["pollen_parent"] and row["pollen_kind"] == "one"),
        ("plain counts", lambda row: row["tried"] and not row["units"]),
        ("only good seed counted", lambda row: row["seeds_filled"] and not row["seeds"]),
    ],
)
def test_the_book_tells_of(what, found):
    assert any(found(row) for row in CROSSES), what


def test_no_success_is_missing_from_the_batch_of_successes():
    assert all(int(row["took"]) > 0 for row in CROSSES if row["only_successes"])


def test_nearer_pairs_of_one_ploidy_do_better():
    """As the invented outcomes were planned: common practice, no source."""
    alike = [row for row in finished_pairings() if not row[3] and row[0] != row[1]]
    near, far = [row for row in alike if row[2] < 1.6], [row for row in alike if row[2] > 3.0]
    assert len(near) >= 10
    assert len(far) >= 8
    assert share(near) > 0.75
    assert share(far) < 0.5


def test_unlike_ploidy_fails_even_when_near():
    unlike = [row for row in finished_pairings() if row[3] and row[2] < 1.6]
    assert len(unlike) >= 10
    assert share(unlike) < 0.15


def test_one_wide_pair_of_one_ploidy_takes_in_both_directions():
    """As the invented outcomes were planned, so that the tour has such a pair."""
    for pair in (("coccineus", "dasyacanthus"), ("dasyacanthus", "coccineus")):
        assert share([row for row in finished_pairings() if row[:2] == pair]) >= 0.5


def test_one_direction_does_better_for_some_pairs():
    fruits = defaultdict(lambda: np.zeros(2, dtype=int))
    for row in CROSSES:
        if row["units"] and row["pods_set"]:
            seed, pollen = row["seed_parent"].split()[1], row["pollen_parent"].split()[-1:] or [""]
            fruits[seed, pollen[0]] += int(row["pods_held"] or 0), int(row["units"])
    held = {pair: k / n for pair, (k, n) in fruits.items() if n >= 10}
    assert held["russanthus", "fendleri"] > 2 * held["fendleri", "russanthus"]


def test_a_ridge_regression_sees_ploidy_outweigh_distance():
    from sklearn.linear_model import LogisticRegression

    rows = finished_pairings()
    x = np.array([[row[2] / 5.0, float(row[3])] for row in rows])
    fit = LogisticRegression(C=1.0).fit(x, [row[-1] for row in rows])
    distance_slope, unlike_2n = fit.coef_[0]
    assert distance_slope < 0
    assert unlike_2n < -2
    near_unlike, far_alike = fit.predict_proba([[0.07, 1.0], [0.53, 0.0]])[:, 1]
    assert near_unlike < far_alike / 2


def test_our_own_model_sees_it_too():
    carried = carried_tree("echinocereus")
    tree = read_tree(carried.tree, unit=carried.unit)
    traits = read_traits(carried.traits, carried.trait_kinds)
    sorted_out = training_set_from(
        read_crosses(DEMO / "crosses.csv"),
        read_plants(DEMO / "plants.csv"),
        tree.index,
        as_of=dt.date(2026, 11, 1),
        windows=Settings(group="cactus").windows,
    )
    book = pd.read_csv(DEMO / "crosses.csv").set_index("cross")
    model = TakeModel(tree, traits, windows=Settings(group="cactus").windows).fit(book, as_of=dt.date(2026, 11, 1))
    assert dict(model.left_out_) == {left.cross.cross: left.reason for left in sorted_out.left_out}
    assert model.fitted_.seen.crosses == len(sorted_out.crosses)
    assert model.fitted_.seen.took == sorted_out.outcomes.fruitful.sum()
    asked = [("coccineus", "triglochidiatus"), ("coccineus", "dasyacanthus"), ("triglochidiatus", "arizonicus")]
    pairs = pd.DataFrame(asked, columns=["seed_parent", "pollen_parent"]).map("Echinocereus {}".format)
    near_unlike, far_alike, near_alike = model.forecast(pairs)["chance"]
    assert near_unlike < far_alike / 2 < near_alike / 2


def test_wanted_names_species_of_the_tree_or_plants_of_the_house():
    for row in WANTED:
        assert row["want"] in {"1", "2", "3", "4", "5"}
        for parent in (row["seed_parent"], row["pollen_parent"]):
            epithet = parent.removeprefix("Echinocereus ").removeprefix("E. ").split()[0]
            assert parent in PLANTS or f"Echinocereus {epithet}" in TRAITS, parent


def test_wanted_holds_the_pairs_that_teach():
    pairs = {(row["seed_parent"], row["pollen_parent"]) for row in WANTED}
    assert ("Echinocereus coccineus", "Echinocereus triglochidiatus") in pairs
    assert ("Echinocereus coccineus", "E. dasyacanthus") in pairs
    assert ("COC-B1", "COC-B2") in pairs
    assert PLANTS["COC-B1"]["clone"] == PLANTS["COC-B2"]["clone"]
