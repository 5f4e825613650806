"""A collection from Python says what the commands say."""

from __future__ import annotations

import json
from datetime import date

import pytest
from typer.testing import CliRunner

from crosscompat import TakeModel, open_collection
from crosscompat.advice.predict import training_set_of
from crosscompat.cli.app import app
from crosscompat.collection.create import make_demonstration
from crosscompat.ground.errors import WrongUse

DAY = date(2026, 11, 1)
PAIR = ("Echinocereus coccineus", "Echinocereus dasyacanthus")


@pytest.fixture(scope="module")
def nursery(tmp_path_factory):
    folder = tmp_path_factory.mktemp("nursery")
    make_demonstration(folder)
    opened = open_collection(folder)
    opened.before = opened.ask(*PAIR).pairing.chance.mean
    opened.lesson = opened.retrain(as_of=date(2024, 11, 1))
    return opened


def said(*words, folder):
    done = CliRunner().invoke(app, [*words, "--json", "--collection", str(folder)])
    assert done.exit_code in {0, 1}, done.output
    return json.loads(done.stdout)


def test_python_and_the_commands_say_the_same_chance_for_the_same_book(nursery):
    folder = nursery.collection.folder
    assert said("ask", *PAIR, folder=folder)["pairing"]["chance"]["mean"] == nursery.ask(*PAIR).pairing.chance.mean
    theirs = said("rank", folder=folder)["rows"]
    ours = nursery.rank()
    ours = ours[ours["refused"].isna()]
    assert len(theirs) > 5
    assert [row["chance"]["mean"] for row in theirs] == ours["chance"].tolist()
    assert [row["seed_parent"] for row in theirs] == ours["seed_parent"].tolist()


def test_partners_and_the_picture_are_those_of_the_command(nursery):
    theirs = said("tree", PAIR[0], folder=nursery.collection.folder)["partners"]
    ours = nursery.partners(PAIR[0])
    assert [p["chance"]["mean"] for p in theirs if p["chance"]] == ours["chance"].dropna().tolist()
    assert [p["species"] for p in theirs] == ours["species"].tolist()
    assert "dasyacanthus" in nursery.tree(PAIR[0])


def test_retraining_is_kept_and_moves_the_answers(nursery):
    assert nursery.lesson.learned
    assert nursery.ask(*PAIR).basis.as_of == "2024-11-01"
    assert nursery.ask(*PAIR).pairing.chance.mean != nursery.before
    again = open_collection(nursery.collection.folder)
    assert again.ask(*PAIR).pairing.chance.mean == nursery.ask(*PAIR).pairing.chance.mean
    moved = again.retrain(as_of=date(2020, 1, 1), dry_run=True)
    assert not moved.learned
    assert open_collection(nursery.collection.folder).ask(*PAIR) == nursery.ask(*PAIR)


def test_every_cross_enters_or_says_why_not(nursery):
    evidence, training = nursery.evidence(DAY), training_set_of(nursery.collection, DAY)
    assert len(evidence) == len(nursery.crosses)
    assert evidence["enters"].sum() == len(training.crosses)
    assert evidence["took"].sum() == training.outcomes.fruitful.sum()
    out = evidence[~evidence["enters"]]
    assert len(out) == len(training.left_out) > 0
    assert out["why"].notna().all()
    assert evidence.loc[evidence["enters"], "left_out"].isna().all()


def test_tables_hold_what_was_read(nursery):
    assert set(nursery.plants["plant"]) == set(nursery.collection.plants.by_name)
    units = [cross.units for cross in nursery.collection.crosses if cross.units is not None]
    assert nursery.crosses["units"].dropna().tolist() == units


def test_scores_and_refusals_are_those_of_the_advice(nursery):
    card = nursery.score(ways=["seasons"], as_of=DAY)
    assert [way.way for way in card.ways] == ["seasons"]
    with pytest.raises(WrongUse):
        nursery.rank(among=[PAIR[0]])


def test_a_table_of_crosses_is_read_by_the_rules_of_the_collection(nursery):
    table, training = nursery.crosses, training_set_of(nursery.collection, DAY)
    model = TakeModel(
        nursery.collection.distances, nursery.collection.traits, windows=nursery.collection.settings.windows
    )
    pairs = table.loc[[0], ["seed_parent", "pollen_parent"]]
    assert model.forecast(pairs).attrs["basis"] == "prior"
    model.fit(table, as_of=DAY)
    assert model.forecast(pairs).attrs["basis"] == "crosses"
    assert (model.fitted_.seen.finished, model.fitted_.seen.took) == (
        int(training.outcomes.known.sum()),
        int(training.outcomes.fruitful.sum()),
    )
    assert dict(zip(table["cross"][model.left_out_.index], model.left_out_, strict=True)) == {
        left.cross.cross: left.reason for left in training.left_out
    }
