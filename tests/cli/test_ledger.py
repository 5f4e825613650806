"""The ledger on the command line: retraining scores what was said, then writes down what it says now."""

from __future__ import annotations

from datetime import date

import pytest

from crosscompat.book.forecasts import read_forecasts


def flat(text):
    return " ".join(text.split())


@pytest.fixture
def retrain(run, own):
    def retrain(day, *more, code=0):
        return run("retrain", "--as-of", day, "--collection", own, *more, code=code)

    return retrain


@pytest.fixture
def ledger(own):
    return own / "forecasts.csv"


def test_retraining_adds_what_it_says_of_crosses_wanted_and_under_way(retrain, own, ledger):
    before = ledger.read_bytes()
    outcome = retrain("2026-09-30")
    assert ledger.read_bytes().startswith(before)
    added = [line for line in read_forecasts(ledger) if line.date == date(2026, 9, 30)]
    assert f"{len(added)} forecasts of the crosses wanted and under way noted in forecasts.csv" in outcome.stderr
    wanted = {(line.seed_parent, line.pollen_parent) for line in added if line.cross is None}
    assert ("Echinocereus dasyacanthus", "Echinocereus coccineus") in wanted
    assert len(wanted) == 13  # one of the fourteen is no pairing
    under_way = {line.seed_plant for line in added if line.cross is not None}
    assert under_way == {"COC-F1", "COC-F2", "DAS-1", "TRI-1", "STR-1", "RIG-2"}  # 26-06 has set no fruit and is over


def test_a_second_run_on_one_day_adds_nothing(retrain, ledger):
    retrain("2026-09-30")
    first = ledger.read_bytes()
    retrain("2026-09-30")
    assert ledger.read_bytes() == first


def test_a_dry_run_scores_and_writes_nothing(retrain, ledger):
    before = ledger.read_bytes()
    outcome = retrain("2026-09-30", "--dry-run")
    assert ledger.read_bytes() == before
    assert "before it was known what would become of them" in flat(outcome.stdout)


def test_what_was_said_is_told_beside_the_base_rate(retrain):
    text = flat(retrain("2026-10-31", "--dry-run").stdout)
    assert "knowing how often your crosses had taken until then" in text
    assert text.index("What was said before") < text.index("Where about") < text.index("What weighs how much now")


def test_without_a_ledger_nothing_is_scored_and_one_is_begun(retrain, answer, own, ledger):
    ledger.unlink()
    assert answer("retrain", "--as-of", "2026-10-31", "--dry-run", "--collection", own)["track_record"] is None
    assert "What was said before" not in retrain("2026-10-31").stdout
    assert {line.date for line in read_forecasts(ledger)} == {date(2026, 10, 31)}


def test_a_program_gets_every_forecast_with_what_became_of_the_cross(answer, own):
    record = answer("retrain", "--as-of", "2026-10-31", "--dry-run", "--collection", own)["track_record"]
    assert record["crosses"] == len(record["forecasts"]) > 20
    assert record["took"] == sum(line["took"] for line in record["forecasts"])
    assert record["under_way"] == sum(line["under_way"] for line in record["forecasts"])


def test_a_day_that_is_replayed_changes_no_record(answer, own, retrain):
    asked = ("retrain", "--as-of", "2026-10-31", "--dry-run", "--collection", own)
    before = answer(*asked)["track_record"]
    for day in ("2024-05-18", "2025-06-12"):
        retrain(day)
    assert answer(*asked)["track_record"] == before


def test_a_day_in_the_past_scores_only_what_had_finished_by_then(answer, own):
    then = answer("retrain", "--as-of", "2025-10-31", "--dry-run", "--collection", own)["track_record"]
    assert {line["cross"][:2] for line in then["forecasts"]} == {"24"}


def test_a_faulty_ledger_is_told_and_not_written_over(retrain, run, own, ledger):
    text = ledger.read_text(encoding="utf-8").replace("2024-05-18,", "May,", 1)
    ledger.write_text(text, encoding="utf-8")
    model = (own / "model.json").read_bytes()
    told = retrain("2026-10-31", code=3).stderr
    assert "forecasts.csv, row " in told
    assert ledger.read_text(encoding="utf-8") == text
    assert (own / "model.json").read_bytes() == model
    assert "forecasts.csv" in run("check", "--collection", own, code=3).stderr


def test_without_a_finished_cross_nothing_is_written(run, empty_folder):
    run("new", "mine")
    run("retrain", "--collection", "mine", code=1)
    assert not (empty_folder / "mine" / "forecasts.csv").exists()


@pytest.mark.parametrize("columns", [40, 80])
def test_the_record_fits_the_screen(run, own, columns):
    text = run("retrain", "--dry-run", "--as-of", "2026-10-31", "--collection", own, columns=columns).stdout
    record = text[text.index("What was said") :].split("\n\n")[0]
    assert len(record.splitlines()) > 5
    assert max(map(len, record.splitlines()[1:])) <= columns
