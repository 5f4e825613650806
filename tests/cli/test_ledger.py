"""The ledger on the command line: retraining scores what was said, then writes down what it says now."""

from __future__ import annotations

from datetime import date

import pytest

from crosscompat.advice.forecast_record import CameTrue, TrackRecord
from crosscompat.cli.learn import print_track_record
from crosscompat.collection.opening import open_collection


def flat(text):
    return " ".join(text.split())


@pytest.fixture
def retrain(run, own):
    def retrain(day, *more, code=0):
        return run("retrain", "--as-of", day, "--collection", own, *more, code=code)

    return retrain


@pytest.fixture
def ledger(own):
    """What the book holds of forecasts now."""
    return lambda: open_collection(own).forecasts


@pytest.fixture(scope="module")
def record(answer, demo):
    """What a program is told of the forecasts of the demonstration."""
    return answer("retrain", "--as-of", "2026-10-31", "--dry-run", "--collection", demo)["track_record"]


def test_retraining_adds_what_it_says_of_crosses_wanted_and_under_way_and_adds_it_once(retrain, own, ledger):
    before = ledger()
    outcome = retrain("2026-09-30")
    after = ledger()
    assert after[: len(before)] == before
    added = [line for line in after if line.date == date(2026, 9, 30)]
    assert f"Saved {len(added)} forecasts for wanted and unfinished crosses" in outcome.stderr
    wanted = {(line.seed_parent, line.pollen_parent) for line in added if line.cross is None}
    assert ("Echinocereus dasyacanthus", "Echinocereus coccineus") in wanted
    assert len(wanted) == 13  # one of the fourteen is no pairing
    under_way = {line.seed_plant for line in added if line.cross is not None}
    assert under_way == {"COC-F1", "COC-F2", "DAS-1", "TRI-1", "STR-1", "RIG-2"}  # 26-06 has set no fruit and is over
    retrain("2026-09-30")
    assert ledger() == after


def test_a_dry_run_scores_and_writes_nothing(retrain, ledger):
    before = ledger()
    text = flat(retrain("2026-10-31", "--dry-run", "--why").stdout)
    assert ledger() == before
    assert "knowing how often your crosses take" in text
    assert text.index("How past forecasts") < text.index("Said about") < text.index("How much each reason weighs now")


def test_without_a_ledger_nothing_is_scored_and_one_is_begun(retrain, own, ledger, with_tables):
    with_tables(own, forecasts_csv=None)
    assert "How past forecasts" not in retrain("2026-10-31").stdout
    assert {line.date for line in ledger()} == {date(2026, 10, 31)}


def test_a_program_gets_every_forecast_with_what_became_of_the_cross(record):
    assert record["crosses"] == len(record["forecasts"]) > 20
    assert record["took"] == sum(line["took"] for line in record["forecasts"])
    assert record["under_way"] == sum(line["under_way"] for line in record["forecasts"])


def test_a_day_that_is_replayed_changes_no_record(answer, own, retrain, record):
    retrain("2025-06-12")
    again = answer("retrain", "--as-of", "2026-10-31", "--dry-run", "--collection", own)["track_record"]
    assert again == record


def test_a_day_in_the_past_scores_only_what_had_finished_by_then(answer, demo):
    then = answer("retrain", "--as-of", "2025-10-31", "--dry-run", "--collection", demo)["track_record"]
    assert {line["cross"][:2] for line in then["forecasts"]} == {"24"}


def test_without_a_finished_cross_nothing_is_written(run, empty_folder):
    run("new", "mine")
    run("retrain", "--collection", "mine", code=1)
    assert open_collection(empty_folder / "mine").forecasts == ()


@pytest.mark.parametrize("columns", [40, 80])
def test_the_record_fits_the_screen(record, monkeypatch, capsys, columns):
    monkeypatch.setenv("COLUMNS", str(columns))
    bins = [CameTrue(**entry) for entry in record["calibration"]]
    print_track_record(TrackRecord(**record | {"calibration": bins}))
    heading, *lines = capsys.readouterr().out.splitlines()
    assert heading.startswith("How past forecasts")
    assert len(lines) > 5
    assert max(map(len, lines)) <= columns


def test_the_season_is_told_cross_by_cross_with_what_to_try_next(retrain, answer, own):
    told = flat(retrain("2026-10-31", "--season", "--dry-run").stdout)
    scored = answer("retrain", "--as-of", "2026-10-31", "--dry-run", "--collection", own)["track_record"]["forecasts"]
    last = max(each["given"][:4] for each in scored)
    assert f"The season of {last}, forecast by forecast" in told
    for each in scored:
        shown = f"{each['cross']} {each['seed_parent']}" in told
        assert shown == (each["given"][:4] == last)
    surprises = [each for each in scored if each["given"][:4] == last and abs(each["took"] - each["mean"]) > 0.75]
    assert told.count("a surprise") == len(surprises) > 0
    assert told.split("What to try next")[1].count("·") == 3
