"""A season of an invented nursery from the command line: twenty plants, fifteen crosses, and what became of them.

Every outcome is invented. The season is that of 2024, so that nothing in it is still to come, whenever this runs.
"""

from __future__ import annotations

import shlex

import pytest

PLANTS = """
COC-1 coccineus --sex female
COC-2 coccineus --sex male
COC-3 coccineus --sex male
DAS-1 dasyacanthus --2n 44
DAS-2 dasyacanthus
TRI-1 triglochidiatus --2n 22
TRI-2 triglochidiatus
FEN-1 fendleri
FEN-2 fendleri
ENG-1 engelmannii
ENG-1b engelmannii --clone ENG-1
STR-1 stramineus
STR-2 stramineus
ENN-1 enneacanthus
PEC-1 pectinatus --self-fertile yes
PEC-2 pectinatus
REI-1 reichenbachii
RIG-1 rigidissimus
FAS-1 fasciculatus
BON-1 bonkerae
"""

# Seed plant, pollen plant, day, flowers, and what came of it.
CROSSES = """
COC-1 DAS-1 2024-04-20 4 set:3 ripe:3 seeds:240/200 sown:100 up:31
COC-1 FAS-1 2024-04-22 3 set:3 ripe:2 seeds:150/120 sown:80 up:20
DAS-1 COC-2 2024-04-25 4 set:4 ripe:3 seeds:300/240 sown:100 up:44
DAS-2 COC-3 2024-04-27 2 set:1 ripe:1 seeds:70/60 sown:60 up:18
TRI-1 COC-2 2024-04-28 3 set:2 ripe:1 seeds:50/0
TRI-2 DAS-1 2024-05-01 3 set:0
FEN-1 ENG-1 2024-05-02 4 set:3 ripe:2 seeds:120/80 sown:80 up:15
FEN-2 BON-1 2024-05-03 3 set:2 ripe:2 seeds:130/110 sown:90 up:33
ENG-1 BON-1 2024-05-04 3 set:3 ripe:3 seeds:200/180 sown:100 up:52
STR-1 ENN-1 2024-05-05 3 set:2 ripe:2 seeds:160/130 sown:100 up:40
STR-2 PEC-1 2024-05-06 2 set:0
PEC-1 REI-1 2024-05-08 4 set:4 ripe:4 seeds:400/350 sown:100 up:70
REI-1 RIG-1 2024-05-10 3 set:1 ripe:0
RIG-1 PEC-2 2024-05-12 2 set:2 ripe:1 seeds:90/70 sown:70 lost
ENN-1 STR-2 2024-05-14 3 set:2 ripe:2 seeds:140/100 sown:100 up:25
"""


@pytest.fixture(scope="module")
def season(run, tmp_path_factory):
    """The folder of a season that has been played, and the numbers of its crosses."""
    folder = tmp_path_factory.mktemp("nursery") / "mine"

    def play(words, code=0):
        return run(*shlex.split(words), "--collection", folder, code=code).stdout

    run("new", folder, "--tree", "echinocereus")
    for plant, species, *more in (line.split() for line in PLANTS.split("\n") if line):
        play(f'plant {plant} --new --as "Echinocereus {species}" --on 2023-05-01 {" ".join(more)}')
    crosses = [line.split() for line in CROSSES.split("\n") if line]
    for i, (seed, pollen, day, flowers, *_) in enumerate(crosses, start=1):
        play(f"pollinate {seed} {pollen} --on {day} --count {flowers} --isolation cap --number 24-{i:02} --by Ida")
    return folder, play, crosses


def days_after(day, days):
    from datetime import date, timedelta

    return (date.fromisoformat(day) + timedelta(days=days)).isoformat()


@pytest.fixture(scope="module")
def played(season):
    """The same after all that was seen has been written down."""
    folder, play, crosses = season
    play("pollinate COC-1 DAS-1 --cross 24-01 --on 2024-04-21 --count 2 --marker 'second stem' --by Tom")
    for i, (_, _, day, _, *seen) in enumerate(crosses, start=1):
        told, number = dict(entry.split(":") for entry in seen if ":" in entry), f"24-{i:02}"
        play(f"observe {number} --swelling {told['set']} --on {days_after(day, 9)}")
        if told.get("ripe") == "0":
            play(f"observe {number} --dropped {told['set']} --on {days_after(day, 30)}")
        elif "ripe" in told:
            seeds, filled = told["seeds"].split("/")
            play(f"observe {number} --ripe {told['ripe']} --on {days_after(day, 70)}")
            play(
                f"observe {number} --harvest --pods {told['ripe']} --seeds {seeds} --filled {filled}"
                f" --on {days_after(day, 71)}"
            )
        if "sown" in told:
            play(f"observe {number} --sown {told['sown']} --tray T{i} --on {days_after(day, 90)}")
        if "up" in told:
            play(f"observe {number} --up {int(told['up']) // 2} --highest {int(told['up']) // 2} --tray T{i}"
                 f" --on {days_after(day, 105)}")  # fmt: skip
            play(f"observe {number} --up {told['up']} --highest {told['up']} --tray T{i} --on {days_after(day, 130)}")
    play("observe 24-14 --lost mice --against no --tray T14 --on 2024-09-01")
    play("observe 24-12 --proof 'like the mother' --by-what 'flowers of the seedlings' --on 2025-04-01")
    return folder, play


def test_twenty_plants_and_fifteen_crosses_stand_in_the_book(season, answer):
    folder, _, _ = season
    found = answer("check", "--collection", folder)
    assert (found["plants"], found["crosses"], found["unmatched"]) == (20, 15, [])


def test_what_cannot_be_stops(season, run):
    folder, _, _ = season
    male = run("pollinate", "COC-2", "DAS-1", "--on", "2024-05-20", "--collection", folder, code=1)
    assert "male" in male.stderr
    clone = run("pollinate", "ENG-1", "ENG-1b", "--on", "2024-05-20", "--collection", folder, code=1)
    assert "ENG-1" in clone.stderr
    run("pollinate", "COC-1", "DAS-1", "--on", "2999-01-01", "--collection", folder, code=2)


def test_a_week_in_may_asks_for_a_look(season, answer):
    folder, _, _ = season
    due = answer("due", "--as-of", "2024-05-10", "--collection", folder)["due"]
    assert {entry["task"] for entry in due} == {"swelling"}
    assert "24-09" in {entry["cross"] for entry in due}


def test_the_season_comes_to_what_was_seen(played):
    from crosscompat.collection.opening import open_collection

    folder, _ = played
    crosses = {cross.cross: cross for cross in open_collection(folder).crosses}
    first = crosses["24-01"]
    assert (first.units, first.pods_set, first.pods_held, first.seeds_filled, first.seeds_sown, first.seedlings) == (
        6, 3, 3, 200, 100, 31,
    )  # fmt: skip
    assert (crosses["24-06"].pods_set, crosses["24-13"].pods_held) == (0, 0)
    assert (crosses["24-14"].lost_to, crosses["24-14"].seedlings) == ("mice", None)
    assert crosses["24-12"].proof == "like the mother"


def test_the_chances_of_every_visit_were_kept(played):
    from crosscompat.collection.opening import open_collection

    folder, _ = played
    assert len(open_collection(folder).forecasts) >= 15


def test_learning_leaves_out_the_lost_tray_and_the_self_and_ranks_by_the_book_alone(played, answer):
    folder, _ = played
    lesson = answer("retrain", "--collection", folder)
    left = {entry["reason"]: entry["crosses"] for entry in lesson["left_out"]}
    assert left["selfed"] == ["24-12"]
    assert sum(entry["crosses"] for entry in lesson["seasons"]) >= 12
    assert sorted(path.name for path in folder.glob("*.csv")) == ["wanted.csv"]
    ranking = answer("rank", "--partners-of", "Echinocereus coccineus", "--collection", folder)
    assert ranking["rows"][0]["chance"]["mean"] > ranking["rows"][-1]["chance"]["mean"]


def test_in_the_autumn_the_trays_are_due(played, answer):
    folder, _ = played
    due = answer("due", "--as-of", "2024-08-20", "--collection", folder)["due"]
    assert {"count"} <= {entry["task"] for entry in due}
    assert "24-13" not in {entry["cross"] for entry in due}


def test_labels_of_the_season(played, run):
    folder, _ = played
    page = run("label", "--season", "2024", "--twins", "--collection", folder, "-o", "-").stdout
    assert page.count('class="number"') == 30


def test_a_seedling_becomes_a_parent_whose_pedigree_gives_its_place(played, answer, run):
    folder, play = played
    play("plant --raised-from 24-01 24-01/1 --new --on 2025-05-01")
    found = answer("ask", "24-01/1", "DAS-2", "--collection", folder)["pairing"]
    near = answer("ask", "COC-1", "DAS-2", "--collection", folder)["pairing"]
    assert 0 < found["distance"]["patristic"] < near["distance"]["patristic"]


def test_the_last_change_can_be_taken_back_and_the_book_copied(played, run):
    folder, play = played
    play("observe 24-03 --note 'a slip of the pen' --on 2025-01-01")
    assert "24-03" in play("undo")
    assert "slip of the pen" not in play("observe 24-03")
    run("backup", "--collection", folder)
    assert list((folder / "backups").glob("*.sqlite"))
