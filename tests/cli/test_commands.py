"""What each command does in a folder, beyond printing."""

from __future__ import annotations

import json
from datetime import date

import pytest

from crosscompat.book.records import Cross, Pollen, Pollination
from crosscompat.book.store import open_store
from crosscompat.ground.dates import today

SEED, POLLEN = "Echinocereus coccineus", "E. dasyacanthus"
DAY = ("--as-of", "2026-10-31")


def files(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_the_demonstration_says_on_every_screen_that_it_is_invented(run):
    text = run("demo").stdout
    screens = text.split("\n==")[1:]
    assert len(screens) == 5
    assert all("invented" in screen for screen in screens)


def test_the_demonstration_never_overwrites(run, empty_folder):
    run("demo")
    first = files(empty_folder / "crosscompat-demo")
    run("demo")
    assert files(empty_folder / "crosscompat-demo") == first
    assert files(empty_folder / "crosscompat-demo-2").keys() == first.keys()
    outcome = run("demo", "crosscompat-demo", code=2)
    assert "nothing was changed" in outcome.stderr


def test_the_demonstration_shows_ploidy_outweighing_distance(answer, demo):
    near = answer("ask", SEED, "E. triglochidiatus", "--collection", demo)["pairing"]
    far = answer("ask", SEED, POLLEN, "--collection", demo)["pairing"]
    assert near["distance"]["relative"] < far["distance"]["relative"] / 3
    assert near["per_flower"]["mean"] < far["per_flower"]["mean"] / 1.5
    assert "ploidy" in [caution["kind"] for caution in near["cautions"]]


def test_ask_prints_what_is_published_near_a_pairing_before_the_reasons(run, answer, demo):
    asked = ("ask", "Echinocereus coccineus", "E. dasyacanthus", "--collection", demo)
    known = [near["words"] for near in answer(*asked)["known_hybrids"]]
    before = run(*asked, "--why").stdout.split("Why, for one flower\n")[0]
    assert known
    assert all(words in " ".join(before.split()) for words in known)


def test_a_new_collection_can_be_checked_and_asked(run, empty_folder):
    run("new", "mine")
    assert "Everything can be read" in run("check", "--collection", "mine").stdout
    assert "a general starting guess" in " ".join(
        run("ask", SEED, POLLEN, "--why", "--collection", "mine").stdout.split()
    )
    before = files(empty_folder / "mine")
    assert "Nothing" in run("new", "mine", code=2).stderr or "nothing" in run("new", "mine", code=2).stderr
    assert files(empty_folder / "mine") == before


NEWICK = "((Echinocereus_albatus:1,Echinocereus_brevis:1):1,Echinocereus_curtus:2);\n"
NEXUS = f"#NEXUS\nBEGIN TREES;\nTREE one = [&R] {NEWICK}END;\n"
TABLE = """species,Echinocereus albatus,Echinocereus brevis,Echinocereus curtus
Echinocereus albatus,0,2,4
Echinocereus brevis,2,0,4
Echinocereus curtus,4,4,0
"""
OWN = {"mine.nwk": NEWICK, "mine.nex": NEXUS, "mine.csv": TABLE}


@pytest.mark.parametrize("name", OWN)
def test_a_collection_starts_from_a_file_of_ones_own(run, answer, empty_folder, name):
    (empty_folder / name).write_text(OWN[name], encoding="utf-8")
    run("new", "mine", "--tree", name, "--unit", "My")
    assert (empty_folder / "mine" / name).read_text(encoding="utf-8") == OWN[name]
    run("check", "--collection", "mine")
    asked = ("ask", "Echinocereus albatus", "--collection", "mine")
    near, far = (answer(*asked, other)["pairing"] for other in ("E. brevis", "E. curtus"))
    assert (near["distance"]["patristic"], far["distance"]["patristic"]) == (2.0, 4.0)
    assert near["per_flower"]["mean"] > far["per_flower"]["mean"]


def test_a_table_of_distances_is_no_tree_to_draw(run, empty_folder):
    (empty_folder / "mine.csv").write_text(TABLE, encoding="utf-8")
    run("new", "mine", "--tree", "mine.csv")
    assert "table of distances" in run("tree", "Echinocereus albatus", "--collection", "mine", code=2).stderr


def test_a_ranking_is_a_line_a_pairing_on_eighty_columns_and_two_on_fewer(run, demo):
    asked = ("rank", "--partners-of", SEED, "--most", "3", "--collection", demo)
    wide, usual, narrow = (run(*asked, columns=n).stdout for n in (200, 80, 60))
    assert "seed parent" in wide.splitlines()[1]
    assert "seed parent" in usual.splitlines()[1]
    assert "%" in wide.splitlines()[1]
    assert "seed parent" not in narrow
    assert max(map(len, usual.splitlines())) <= 80
    assert max(map(len, narrow.splitlines())) <= 60
    assert "59 more pairings" in wide


def test_partners_are_ranked_both_ways_round_and_among_those_named(answer, demo):
    rows = answer("rank", "--partners-of", SEED, "--collection", demo)["rows"]
    assert len(rows) == 62
    assert {row["seed_parent"] for row in rows if row["pollen_parent"] != SEED} == {SEED}
    chances = [row["chance"]["mean"] for row in rows]
    assert chances == sorted(chances, reverse=True)
    few = answer("rank", "--partners-of", SEED, "--among", POLLEN, "--collection", demo)["rows"]
    assert {row["seed_parent"] for row in few} == {SEED, "Echinocereus dasyacanthus"}
    among = ["--among", SEED, "--among", "Echinocereus laui", "--among", "Echinocereus scheeri"]
    assert len(answer("rank", *among, "--collection", demo)["rows"]) == 6


def test_a_list_of_its_own_is_ranked(answer, demo, empty_folder):
    (empty_folder / "mine.csv").write_text(
        f"seed_parent,pollen_parent,want\n{SEED},{POLLEN},2\nEchinocereus laui,E. scheeri,5\n", encoding="utf-8"
    )
    rows = answer("rank", "mine.csv", "--collection", demo)["rows"]
    assert sorted(row["want"] for row in rows) == [2, 5]


def test_a_picture_goes_to_a_file_or_to_the_screen(run, demo, empty_folder):
    asked = ("tree", SEED, "--collection", demo)
    outcome = run(*asked, "-o", "a.svg")
    assert (outcome.stdout, outcome.stderr) == ("", "Written: a.svg\n")
    svg = (empty_folder / "a.svg").read_text(encoding="utf-8")
    assert run(*asked, "-o", "-").stdout == svg
    assert "as seed parent" in svg
    assert "as pollen parent" in run(*asked, "--as", "pollen", "-o", "-").stdout


def test_a_dry_run_writes_nothing(run, own):
    before = files(own)
    run("retrain", *DAY, "--dry-run", "--collection", own)
    assert files(own) == before


def test_retraining_keeps_the_model_and_leaves_the_settings_alone(run, own):
    (own / "model.json").unlink()
    settings = own / "collection.toml"
    text = settings.read_text(encoding="utf-8")
    run("retrain", *DAY, "--collection", own)
    assert settings.read_text(encoding="utf-8") == text
    assert json.loads((own / "model.json").read_text(encoding="utf-8"))["as_of"] == "2026-10-31"


def test_an_answer_counts_what_was_written_since(answer, own):
    cross = Cross(seed_parent=SEED)
    visit = Pollination(cross=cross.id, date=date(2026, 6, 1))
    with open_store(own / "book.sqlite").writing("one more") as pen:
        pen.add(cross, visit, Pollen(pollination=visit.id, name=POLLEN))
    basis = answer("ask", SEED, POLLEN, "--collection", own)["basis"]
    assert basis["changed"] == []
    assert basis["as_of"] == today().isoformat()


def test_a_cross_without_that_number_names_the_nearest(run, demo):
    assert "26-07" in run("label", "26-77", "--collection", demo, code=2).stderr


def test_a_demonstration_starts_in_an_empty_folder_and_not_in_the_place_of_a_file(run, empty_folder):
    (empty_folder / "empty").mkdir()
    run("demo", "empty")
    (empty_folder / "file").write_text("mine", encoding="utf-8")
    run("demo", "file", code=2)
    assert (empty_folder / "file").read_text(encoding="utf-8") == "mine"


def test_a_collection_is_made_where_the_tree_lies_already(run, empty_folder):
    (empty_folder / "mine.nwk").write_text(NEWICK, encoding="utf-8")
    run("new", ".", "--tree", "mine.nwk")
    assert (empty_folder / "mine.nwk").read_text(encoding="utf-8") == NEWICK
    assert "Everything can be read" in run("check").stdout


@pytest.mark.parametrize("tree", ["nothing.nwk", "lithops"])
def test_a_collection_without_its_tree_is_not_made(run, empty_folder, tree):
    outcome = run("new", "mine", "--tree", tree, code=2)
    assert "echinocereus" in outcome.stderr
    assert list(empty_folder.iterdir()) == []


def test_a_retrained_answer_is_the_same_as_before_when_nothing_has_changed(answer, own):
    before = answer("ask", SEED, POLLEN, "--collection", own)
    answer("retrain", *DAY, "--collection", own)
    assert answer("ask", SEED, POLLEN, "--collection", own) == before


def test_a_table_of_distances_says_its_unit(run, answer, empty_folder):
    (empty_folder / "mine.csv").write_text(TABLE, encoding="utf-8")
    run("new", "mine", "--tree", "mine.csv", "--unit", "My")
    asked = ("ask", "Echinocereus albatus", "E. brevis", "--collection", "mine")
    assert answer(*asked)["pairing"]["distance"]["unit"] == "My"


def test_a_tree_of_one_species_can_be_shown(run, empty_folder):
    (empty_folder / "one.nwk").write_text("(Echinocereus_laui:1);\n", encoding="utf-8")
    run("new", "mine", "--tree", "one.nwk")
    assert "Echinocereus laui" in run("tree", "Echinocereus laui", "--collection", "mine", "-o", "-").stdout


def test_all_crosses_can_be_labelled_at_once_and_none_by_mistake(demo, run):
    every = json.loads(run("label", "--all", "--json", "--collection", demo).stdout)["cards"]
    old = json.loads(run("label", "--since", "1900-01-01", "--json", "--collection", demo).stdout)["cards"]
    assert every == old
    assert len(every) > 1
    assert "--all" in run("label", "--collection", demo, code=2).stderr


def test_all_pairings_are_searched_and_the_table_of_the_best_is_written(run, answer, demo, empty_folder):
    best = answer("rank", "--all", "--most", "4", "--flowers", "3", "--collection", demo)
    chances = [row["chance"]["mean"] for row in best["rows"]]
    assert len(chances) == 4
    assert chances == sorted(chances, reverse=True)
    run("rank", "--all", "--most", "4", "--flowers", "3", "-o", "best.csv", "--collection", demo)
    run("rank", "--all", "--most", "4", "--flowers", "3", "-o", "best.parquet", "--collection", demo)
    from pyarrow.parquet import read_table

    written = read_table(empty_folder / "best.parquet").to_pylist()
    assert [row["chance"] for row in written] == [row["chance"]["mean"] for row in best["rows"]]
    assert all(row["outcomes_invented"] for row in written)
    lines = (empty_folder / "best.csv").read_text(encoding="utf-8").splitlines()
    assert len(lines) == 5
    assert lines[1].startswith(f"1,{best['rows'][0]['equal']},{best['rows'][0]['seed_parent']},")


def test_all_pairings_are_not_asked_for_beside_a_few(run, demo):
    assert "Choose one" in run("rank", "--all", "--partners-of", SEED, "--collection", demo, code=2).stderr
