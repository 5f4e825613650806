"""How far the forecasts can be trusted, on the screen."""

from __future__ import annotations

import re
from importlib.resources import files

import pytest

from crosscompat.advice.score import Scorecard, WayScore
from crosscompat.cli.learn import print_scorecard
from crosscompat.model.scoring import CameOf, ForecastScore

SEASONS = ("score", "--way", "seasons", "--as-of", "2023-10-31")


def flat(text):
    return " ".join(text.split())


@pytest.fixture
def few(own, with_tables):
    """The demonstration with its first crosses only."""

    def build(rows):
        lines = (files("crosscompat.demo") / "crosses.csv").read_text(encoding="utf-8").splitlines(keepends=True)
        return with_tables(own, crosses_csv="".join(lines[: rows + 1]))

    return build


def test_what_is_printed_is_what_is_answered(run, answer, demo):
    text = run(*SEASONS, "--collection", demo).stdout
    found = answer(*SEASONS, "--collection", demo)
    [way] = found["ways"]
    assert found["says"] in flat(text)
    assert way["says"] in flat(text)
    for entry, name in zip(
        way["forecasts"], ("crosscompat", "distance alone", "traits alone", "how often"), strict=True
    ):
        [row] = re.findall(rf"^  {name}.*$", text, re.MULTILINE)
        assert f" {entry['log_loss']:.2f}  " in row
        assert f"{100 * (entry['skill'] or 0):.0f}%" in row
    assert len(re.findall(r"^ +\d+%  \d+ of \d+ ", text, re.MULTILINE)) == len(way["calibration"])


def test_invented_outcomes_say_so_first(run, answer, demo):
    assert run(*SEASONS, "--collection", demo).stdout.startswith("The outcomes in this collection are invented.\n")
    assert answer(*SEASONS, "--collection", demo)["invented"] is True


@pytest.mark.parametrize("columns", [40, 60])
def test_a_narrow_screen_has_two_lines_a_forecast(run, demo, columns):
    narrow = run(*SEASONS, "--collection", demo, columns=columns).stdout
    table = narrow.split("Forecast and result")[0]
    assert max(map(len, table.splitlines())) <= columns
    assert "distance alone\n      log loss" in table


def test_too_few_crosses_say_so_and_the_exit_code_is_1(run, answer, few):
    collection = ("--collection", few(3))
    outcome = run("score", *collection, code=1)
    assert outcome.stdout == ""
    assert outcome.stderr.startswith("There are 3 finished crosses of 2 pairs so far.")
    found = answer("score", *collection, code=1)
    assert (found["crosses"], found["ways"]) == (3, [])


def test_an_empty_collection_says_so(run, empty_folder):
    run("new", "mine")
    outcome = run("score", "--collection", "mine", code=1)
    assert "0 finished crosses of 0 pairs" in outcome.stderr


def test_an_unknown_way_names_those_there_are(run, demo):
    outcome = run("score", "--way", "years", "--collection", demo, code=2)
    assert outcome.stderr == "“years” is not a way to test; choose one of pairs, species, seasons.\n"


def card(*ways):
    return Scorecard("2026-10-31", 9, 4, 3, list(ways), "Nine crosses.", invented=False)


def test_what_cannot_be_told_is_left_open_and_a_gain_of_nothing_is_nothing(capsys):
    forecasts = [
        ForecastScore("crosscompat", 0.694, 0.25, -0.001, None, None, None),
        ForecastScore("distance", 0.5, 0.2, None, None, None, 0.625),
        ForecastScore("base_rate", 0.7, 0.25, 0.0, None, None, None),
    ]
    print_scorecard(card(WayScore("species", 9, 3, 4, forecasts, [], "no_better", "It says nothing.")))
    text = capsys.readouterr().out
    assert re.findall(r"^  (?:crosscompat|distance|how).*$", text, re.MULTILINE) == [
        "  crosscompat               0.69   0.25     0%  -          -",
        "  distance alone            0.50   0.20      -  -        63%",
        "  how often yours take      0.70   0.25     0%  -          -",
    ]
    assert "(9 crosses, 4 species)" in text
    assert "Forecast and result" not in text


def test_chances_that_were_off_are_marked(capsys):
    bins = [
        CameOf(0.1, 0.5, 0.2, 0.8, 8.0),
        CameOf(0.5, 0.45, 0.3, 0.6, 7.5),
        CameOf(0.9, 0.0, 0.0, 0.2, 1200.0),
    ]
    forecasts = [ForecastScore("crosscompat", 0.6, 0.2, 0.1, 0.0, 0.2, 0.7)]
    print_scorecard(card(WayScore("pairs", 9, 3, 3, forecasts, bins, "perhaps", "It says a little.")))
    rows = re.findall(r"^ +\d+%  .* of .*$", capsys.readouterr().out, re.MULTILINE)
    assert [flat(row) for row in rows] == [
        "10% 4 of 8 20% to 80% more often than forecast",
        "50% 3.4 of 7.5 30% to 60%",
        "90% 0 of 1200 under 1% to 20% less often than forecast",
    ]
