"""Each group of plants is spoken of in its own words, and an accident is called by its name."""

import pytest
from typer.testing import CliRunner

from crosscompat.cli.app import app
from crosscompat.ground.wording import say

HARVEST = ("--harvest", "--pods", "2", "--seeds", "5", "--on", "2026-07-20")


def run(*arguments):
    outcome = CliRunner().invoke(app, list(arguments))
    assert outcome.exit_code == 0, outcome.output
    return " ".join(outcome.output.split())


@pytest.fixture
def spurges(tmp_path):
    place = ("--collection", str(tmp_path / "spurges"))
    run("new", place[1], "--tree", "euphorbia")
    run(
        "pollinate", "Euphorbia susannae", "E. obesa", "--count", "5", "--on", "2026-05-01", "--number", "26-08", *place
    )
    return place


def test_a_spurge_has_cyathia_and_pods(spurges):
    assert "from your usual 5 cyathia" in run("ask", "Euphorbia susannae", "E. obesa", *spurges)
    assert "3 pods set" in run("observe", "26-08", "--swelling", "3", "--on", "2026-05-20", *spurges)
    assert "2 ripe pods; 5 seeds. " in run("observe", "26-08", *HARVEST, *spurges)
    assert "5 cyathia" in run("observe", "26-08", *spurges)


def test_a_hedgehog_has_flowers_and_fruit(tmp_path):
    place = ("--collection", str(tmp_path / "hedgehogs"))
    run("new", place[1], "--tree", "echinocereus")
    run("pollinate", "Echinocereus coccineus", "E. dasyacanthus", "--on", "2026-05-01", "--number", "1", *place)
    assert "3 fruit set" in run("observe", "1", "--swelling", "3", "--on", "2026-05-20", *place)
    assert "2 ripe fruit; 5 seeds. " in run("observe", "1", *HARVEST, *place)
    assert "pod" not in run("observe", "1", *place)


def test_an_aloe_has_flowers_and_capsules_once_that_is_settled(tmp_path):
    aloes = tmp_path / "aloes.csv"
    aloes.write_text(
        "species,genus,section\nAloe ferox,Aloe,Pachydendron\nAloe maculata,Aloe,Pictae\n", encoding="utf-8"
    )
    place = ("--collection", str(tmp_path / "aloes"))
    run("new", place[1], "--classification", str(aloes))
    settings = tmp_path / "aloes" / "collection.toml"
    said = settings.read_text(encoding="utf-8")
    settings.write_text(said.replace('fruit_word = "fruit"', 'fruit_word = "capsule"'), encoding="utf-8")
    run("pollinate", "Aloe ferox", "Aloe maculata", "5", "--on", "2026-05-01", "--number", "1", *place)
    assert "3 capsules set" in run("observe", "1", "--swelling", "3", "--on", "2026-05-20", *place)
    assert "2 ripe capsules; 5 seeds. " in run("observe", "1", *HARVEST, *place)
    assert "5 flowers" in run("observe", "1", *place)


def test_the_words_of_one_command_are_not_left_to_the_next(spurges):
    run("ask", "Euphorbia susannae", "E. obesa", *spurges)
    assert say("wording.example", n=2) == "2 flowers"


def test_a_cross_lost_to_frost_is_lost_to_frost(spurges):
    run("observe", "26-08", "--lost", "frost", *spurges)
    said = run("ask", "Euphorbia susannae", "E. obesa", *spurges)
    assert "You made this cross once; it was lost to frost." in said
    assert "not finished" not in run("ask", "Euphorbia susannae", "E. obesa", "--why", *spurges)


def test_a_correction_names_the_cross_as_it_is_called(spurges):
    run("correct", "268", "wanted=4", *spurges)
    assert "cross 26-08 corrected" in run("history", *spurges)


def test_a_new_plant_is_named_once(spurges):
    assert run("plant", "NEW-1", "Euphorbia obesa", "--new", *spurges).count("NEW-1") == 1
