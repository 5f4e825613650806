from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np
import pytest

from crosscompat.advice import retrain as lesson_room
from crosscompat.advice.parents import find_parent
from crosscompat.advice.predict import basis_of, parents_of, predict, prior_of
from crosscompat.advice.retrain import checks_of, keep, learn
from crosscompat.book import records
from crosscompat.book.current_plants import Plant
from crosscompat.book.store import open_store
from crosscompat.collection.create import create_collection
from crosscompat.collection.opening import add_forecasts, open_collection
from crosscompat.collection.settings import Settings
from crosscompat.ground.errors import Busy, WrongUse
from crosscompat.model.pairings import Parents
from crosscompat.pairing import CURVES
from crosscompat.phylogeny.distances import DistanceTable

DAY = date(2026, 1, 1)


def test_the_crosses_that_entered_are_told(collection, book):
    lesson, saved = learn(collection(book), as_of=DAY)
    assert (lesson.as_of, lesson.before.kind, lesson.after.kind) == ("2026-01-01", "prior", "crosses")
    assert (lesson.after.crosses, lesson.after.took) == (12, 6)
    assert saved.model.seen.species == ("Aus_bus", "Aus_cus", "Aus_dus", "Aus_eus", "Aus_fus")
    assert (saved.as_of, saved.invented) == ("2026-01-01", False)
    assert lesson.after.model == saved.fingerprint


def test_what_was_left_out_is_told_with_its_numbers(collection, cross):
    made = collection(
        [
            cross("Aus bus", None, pollen_kind="open", cross="a"),
            cross("Aus bus", "Aus bus", 3, 3, seed_plant="A1", pollen_plant="A2", cross="b"),
            cross("Aus bus", "Aus cus", 3, 3, technique="graft", cross="c"),
            cross("Aus bus", "Aus cus", 3, 3, only_successes=True, cross="d"),
            cross("Aus bus", "Aus nus", 3, 3, cross="e"),
            cross("Aus bus", "Aus cus", 3, 3, day=date(2025, 6, 1), cross="f"),
            cross("Aus bus", "Aus cus", lost_to="mice", cross="g"),
            cross("Aus bus", "Aus cus", units=4, cross="h"),
            cross("Aus bus", "Aus cus", units=4, cross="i"),
            cross("Aus bus", "Aus cus", 3, 3, cross="j"),
            cross("Aus bus", "Aus cus", pods_set=0, cross="k"),
        ],
        plants=[Plant("A1", "Aus bus", "A"), Plant("A2", "Aus bus", "A")],
    )
    lesson, _ = learn(made, as_of=DAY)
    assert {entry.reason: entry.crosses for entry in lesson.left_out} == {
        "no_pairing": ["a"], "one_clone": ["b"], "technique": ["c"], "only_successes": ["d"], "not_in_tree": ["e"],
        "not_finished": ["f"], "lost": ["g"], "unknown_outcome": ["h", "i"],
    }  # fmt: skip
    assert lesson.left_out[-1].words.startswith("2 crosses whose outcome")
    assert (lesson.after.crosses, lesson.uncounted) == (2, 1)


def test_a_longer_window_waits_longer(collection, cross):
    made = collection([cross("Aus bus", "Aus cus", 3, 3, day=date(2024, 6, 1))], settings=Settings(window_days=700))
    assert learn(made, as_of=DAY)[0].after.crosses == 0
    assert learn(made, as_of=date(2026, 6, 1))[0].after.crosses == 1


@pytest.mark.parametrize("wanted", [(), [("Aus bus", "Aus cus"), ("Aus bus", "A. nus")]])
def test_nothing_finished_leaves_what_is_published(collection, wanted):
    made = collection(wanted=wanted)
    lesson, saved = learn(made, as_of=DAY)
    assert (lesson.after.crosses, lesson.left_out, lesson.uncounted) == (0, [], 0)
    assert saved.model.steps == ()
    assert saved.model.prior.mean.tolist() == basis_of(made).model.prior.mean.tolist()
    assert [moved.why for moved in lesson.moved] == ["hardly moved"] * bool(wanted)


def test_what_moved_adds_up_and_the_largest_move_comes_first(collection, trained, book, cross):
    made = trained(book[:4], wanted=[("Aus bus", "Aus cus"), ("Aus cus", "Aus eus"), ("Aus dus", "Aus fus")])
    made = replace(made, crosses=tuple(book))
    lesson, saved = learn(made, as_of=DAY)
    before, after = made.saved.model, saved.model
    seed, pollen = ["Aus_bus", "Aus_cus", "Aus_dus"], ["Aus_cus", "Aus_eus", "Aus_fus"]
    was, now = (predict(made, model, Parents(seed, pollen)) for model in (before, after))
    for i in range(len(seed)):
        old, new = (
            sum(lesson_room._parts(model, asked.at(i)).values()) for model, asked in ((before, was), (after, now))
        )
        assert (old, new) == pytest.approx((was.whole.mean[i], now.whole.mean[i]), abs=1e-9)
    sizes = [abs(moved.after.mean - moved.before.mean) for moved in lesson.moved]
    assert sizes == sorted(sizes, reverse=True)
    for moved in lesson.moved:
        change = moved.after.mean - moved.before.mean
        assert moved.why.startswith("hardly" if abs(change) < 0.005 else "up" if change > 0 else "down")


@pytest.mark.parametrize(
    ("shift", "gain", "own", "counted", "why"),
    [
        ({"base": 0.2, "distance": 0.9}, 0.1, [], (0, 0), "up, mainly because of distance on the tree"),
        (
            {"base": -1.0, "distance": 1.2, "2n lower": -0.9},
            -0.1,
            [],
            (0, 0),
            "down, mainly because of how well crosses take in general",
        ),
        (
            {"base": 1.0, "distance": -1.2, "2n lower": 0.9},
            0.1,
            [],
            (0, 0),
            "up, mainly because of how well crosses take in general",
        ),
        ({"base": -0.2, "distance": -0.9}, 0.1, [], (0, 0), "up, surer now"),
        ({"base": 0.2, "distance": 0.9}, -0.1, [], (0, 0), "down, surer now"),
        ({"base": 5.0}, 0.004, [], (0, 0), "hardly moved"),
        ({"base": 0.0}, 0.0, [], (0, 0), "hardly moved"),
        ({"distance": 0.9}, -0.1, [False, False, False], (0, 0), "down: 0 of its 3 counted crosses took"),
        ({"distance": 0.9}, 0.1, [True], (0, 0), "up: 1 of its 1 counted cross took"),
        ({"distance": 0.9}, 0.1, [True, False, False], (0, 0), "up, mainly because of distance on the tree"),
        ({"distance": 0.9}, -0.1, [True], (3, 2), "down: 2 of its 3 flowers set"),
        ({"distance": 0.9}, 0.1, [], (3, 2), "up: 2 of its 3 flowers set"),
        ({"distance": -0.9}, -0.1, [], (3, 3), "down, mainly because of distance on the tree"),
    ],
)
def test_the_reason_pulls_the_way_in_which_the_chance_went(shift, gain, own, counted, why):
    assert lesson_room._why(shift, gain, own, counted) == why


def test_the_crosses_wanted_are_watched_and_else_the_pairs_crossed(collection, book):
    asked, _ = learn(collection(book, wanted=[("Aus bus", "Aus dus"), ("Aus bus", "A. dus")]), as_of=DAY)
    assert [(moved.seed_parent, moved.pollen_parent) for moved in asked.moved] == [("Aus bus", "Aus dus")]
    crossed, _ = learn(collection(book), as_of=DAY)
    assert len(crossed.moved) == 6


def test_weightings_are_those_of_the_models(trained, book):
    made = trained(book[:4])
    lesson, saved = learn(replace(made, crosses=tuple(book)), as_of=DAY)
    stage = saved.model.fit_of("whole")
    assert {entry.stage for entry in lesson.weightings} == {"whole"}
    assert [entry.feature for entry in lesson.weightings] == list(saved.model.recipe.names)
    assert [entry.after for entry in lesson.weightings] == stage.coefficients[1:].tolist()
    assert [entry.before for entry in lesson.weightings] == made.saved.model.fit_of("whole").coefficients[1:].tolist()
    assert [entry.after_sd for entry in lesson.weightings] == np.sqrt(np.diag(stage.covariance))[
        1 : stage.sizes[0]
    ].tolist()


def test_a_feature_that_came_or_went_has_no_weight_on_that_side(trained, book, traits):
    made = trained(book, traits=replace(traits, columns=traits.columns[:1]))
    other = replace(made, traits=replace(traits, columns=traits.columns[1:2]))
    lesson, _ = learn(other, as_of=DAY)
    told = {entry.feature: (entry.before is None, entry.after is None) for entry in lesson.weightings}
    assert told == {
        **dict.fromkeys(CURVES, (False, False)), "2n lower": (True, False), "2n higher": (True, False),
        "spines_paired both": (False, True),
    }  # fmt: skip


def test_it_learns_that_nearer_pairs_do_better(collection, book):
    """Common practice, no source."""
    made = collection(book, traits=None)
    _, saved = learn(made, as_of=DAY)
    near, far = Parents(["Aus_bus"], ["Aus_cus"]), Parents(["Aus_bus"], ["Aus_eus"])
    gap = [
        [predict(made, model, pair).whole.mean[0] for pair in (near, far)] for model in (prior_of(made), saved.model)
    ]
    assert gap[1][0] - gap[1][1] > gap[0][0] - gap[0][1] > 0


def test_seasons_are_told_by_the_year_in_which_they_start(collection, cross):
    made = collection(
        [
            cross("Aus bus", "Aus cus", 3, 1, day=date(2024, 3, 1)),
            cross("Aus bus", "Aus cus", 3, 0, day=date(2024, 8, 1)),
            cross("Aus bus", "Aus cus", units=3, seedlings=9, day=date(2024, 8, 2)),
            cross("Aus bus", "Aus cus", 3, 1, day=date(2025, 12, 1)),
        ],
        settings=Settings(hemisphere="south", season_start="07-01"),
    )
    lesson, _ = learn(made, as_of=DAY)
    assert [tuple(getattr(entry, name) for name in entry.__slots__) for entry in lesson.seasons] == [
        (2023, 1, 1), (2024, 2, 1),
    ]  # fmt: skip


def test_learning_writes_nothing_and_keeping_writes_the_model(tmp_path, with_tables):
    folder = tmp_path / "ours"
    (tmp_path / "t.nwk").write_text("((Aus_bus:1,Aus_cus:1):2,Aus_dus:3);", encoding="utf-8")
    create_collection(folder, tree=str(tmp_path / "t.nwk"))
    with_tables(folder, crosses_csv="date,seed_parent,pollen_parent,tried,took\n2024-05-01,Aus bus,A. cus,4,1\n")
    open_collection(folder)
    before = {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
    _, saved = learn(open_collection(folder), as_of=DAY)
    assert {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()} == before
    assert keep(open_collection(folder), saved) == 0
    opened = open_collection(folder)
    assert opened.saved.fingerprint == saved.fingerprint
    assert basis_of(opened).changed == ()
    keep(opened, learn(opened, as_of=DAY)[1])
    assert open_collection(folder).saved.fingerprint == saved.fingerprint


def test_while_somebody_writes_in_the_book_the_old_model_stays(tmp_path, with_tables, monkeypatch):
    monkeypatch.setattr("crosscompat.book.store.database._WAIT_SECONDS", 0.1)
    (tmp_path / "t.nwk").write_text("((Aus_bus:1,Aus_cus:1):2,Aus_dus:3);", encoding="utf-8")
    folder = tmp_path / "ours"
    create_collection(folder, tree=str(tmp_path / "t.nwk"))
    with_tables(folder, crosses_csv="date,seed_parent,pollen_parent,tried,took\n2024-05-01,Aus bus,A. cus,4,1\n")
    made = open_collection(folder)
    keep(made, learn(made, as_of=DAY)[1])
    before = {path.name: path.read_bytes() for path in folder.glob("*") if "sqlite" not in path.name}
    _, later = learn(made, as_of=date(2026, 2, 1))
    with open_store(folder / "book.sqlite").writing("slow") as pen:
        pen.add(records.Plant(name="a"))
        with pytest.raises(Busy):
            keep(made, later)
    assert {path.name: path.read_bytes() for path in folder.glob("*") if "sqlite" not in path.name} == before
    assert keep(made, later) == 0
    assert open_collection(folder).saved.fingerprint == later.fingerprint


def test_a_model_replaces_a_link_and_not_what_it_points_to(tmp_path, with_tables):
    (tmp_path / "t.nwk").write_text("((Aus_bus:1,Aus_cus:1):2,Aus_dus:3);", encoding="utf-8")
    folder = tmp_path / "ours"
    create_collection(folder, tree=str(tmp_path / "t.nwk"))
    with_tables(folder, crosses_csv="date,seed_parent,pollen_parent,tried,took\n2024-05-01,Aus bus,A. cus,4,1\n")
    mine = tmp_path / "mine.txt"
    mine.write_text("mine", encoding="utf-8")
    (folder / "model.json").symlink_to(mine)
    made = open_collection(folder)
    keep(made, learn(made, as_of=DAY)[1])
    assert mine.read_text(encoding="utf-8") == "mine"
    assert open_collection(folder).saved is not None


def test_offsets_of_one_plant_teach_of_one_plant(collection, cross):
    plants = [Plant("A1", "Aus bus", "A"), Plant("A2", "Aus bus", "A"), Plant("B", "Aus bus", "B")]
    rows = [
        cross("Aus bus", "Aus cus", 6, took, seed_plant=plant, cross=str(i))
        for i, (plant, took) in enumerate([("A1", 6), ("A2", 6), ("A1", 5), ("B", 0), ("B", 1), ("unlisted", 3)])
    ]
    made = collection(rows, plants=plants)
    _, saved = learn(made, as_of=DAY)
    assert saved.model.seen.seed_plants == ("A", "B", "unlisted")
    assert saved.model.seen.pollen_plants == ()
    asked = [(find_parent(made, name), find_parent(made, "Aus cus")) for name in ("A1", "A2", "B")]
    put = predict(made, saved.model, parents_of(asked))
    answer = put.whole
    assert answer.mean[0] == answer.mean[1] > answer.mean[2]


def test_a_table_with_gaps_says_that_relatives_teach_nothing(collection, cross):
    values = np.array([[0, 1, np.nan], [1, 0, 2], [np.nan, 2, 0]])
    gaps = collection(
        [cross("Aus bus", "Aus cus", 3, 3)], distances=DistanceTable(("Aus_bus", "Aus_cus", "Aus_dus"), values)
    )
    words = learn(gaps, as_of=DAY)[0].after.words
    assert "The table of distances has gaps, so relatives tell nothing about a species you have not crossed." in words
    assert "gaps" not in learn(collection([cross("Aus bus", "Aus cus", 3, 3)]), as_of=DAY)[0].after.words


def test_forecasts_are_noted_once_and_judged_when_the_outcome_is_known(tmp_path, newick, with_tables):
    (tmp_path / "tree.nwk").write_text(newick, encoding="utf-8")
    folder = tmp_path / "ours"
    create_collection(folder, tree=str(tmp_path / "tree.nwk"))
    head = "id,date,seed_parent,pollen_parent,units,seedlings\n"
    old = ",2022-05-01,Aus bus,A. cus,4,9\n,2022-05-02,Aus bus,A. eus,4,0\n,2022-05-03,Aus cus,A. dus,4,1\n"
    ids = [f"6574aef3-81db-5ea1-a894-ad2fa9ccc1e{i}" for i in range(6)]
    made = [f"{one},2024-05-0{i + 1},Aus bus,A. {'cus' if i % 2 else 'fus'},4," for i, one in enumerate(ids)]
    with_tables(folder, crosses_csv=head + old + "\n".join(made))
    day = date(2024, 5, 20)
    lesson, saved = learn(open_collection(folder), as_of=day)
    assert lesson.track_record is None
    for _ in range(2):
        assert keep(open_collection(folder), saved) == len(ids)
    given = open_collection(folder).forecasts
    assert len(given) == len(ids)
    told = "\n".join(f"{row}{9 if i % 2 else 0}" for i, row in enumerate(made))
    with_tables(folder, crosses_csv=head + old + told)
    add_forecasts(folder, open_collection(folder).settings, given)
    later, _ = learn(open_collection(folder), as_of=date(2026, 1, 1))
    assert (later.track_record.crosses, later.track_record.took, later.track_record.under_way) == (6, 3, 6)
    assert later.track_record.brier < later.track_record.base_brier  # near took and far did not, as was said
    early, _ = learn(open_collection(folder), as_of=date(2024, 5, 10))
    assert early.track_record is None  # forecasts written later are none yet


def test_without_a_folder_no_model_is_kept(collection, book):
    made = collection(book)
    _, saved = learn(made, as_of=DAY)
    with pytest.raises(WrongUse, match="keeps no model"):
        keep(made, saved)


SEED, POLLEN, ALONE = "check of the seed parent", "check of the pollen", "left alone"


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"kind": SEED, "seed_plant": "A1", "units": 3, "pods_set": 2}, "A1 sets as a seed parent (2 of 3 set"),
        ({"kind": SEED, "units": 3, "pods_set": 0}, "Aus bus set nothing with good pollen (0 of 3 set)"),
        ({"kind": SEED}, "no result is recorded yet"),
        ({"kind": POLLEN, "pollen_plant": "C1", "pods_set": 1}, "The pollen of C1 was alive (1 set"),
        ({"kind": POLLEN, "pods_set": 0, "units": 2}, "The pollen of Aus cus set nothing"),
        ({"kind": ALONE, "pods_set": 2, "units": 4}, "Aus bus sets by itself (2 of 4 set)"),
        ({"kind": ALONE, "pods_set": 0}, "sets nothing when left alone (0 set)"),
        ({"pollen_kind": "none", "pods_set": 0}, "sets nothing when left alone (0 set)"),
        ({"kind": ALONE, "tried": 4, "took": 1}, "(1 of 4 set)"),
    ],
)
def test_what_a_check_says_of_the_parent_it_was_made_for(collection, cross, more, says):
    if "tried" not in more:
        more = {"tried": None, "took": None, **more}
    [told] = checks_of(collection([cross("Aus bus", "A. cus", cross="26-01", **more)]), DAY)
    assert says in told.says
    assert told.cross == "26-01"


def test_a_cross_is_no_check_and_what_was_recorded_later_is_not_told_yet(collection, cross):
    later = cross("Aus bus", "A. cus", kind=SEED, recorded_at=datetime(2026, 6, 1, tzinfo=UTC))
    assert checks_of(collection([cross("Aus bus", "A. cus"), later]), DAY) == []
