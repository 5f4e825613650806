"""Following a cross from the command line: what was seen, put right, told, taken back, copied and found again."""

from __future__ import annotations

import json
import os
import re
import shutil
import sqlite3
from datetime import UTC, date, datetime, timedelta

import pytest

from crosscompat.book.records import Cross, Observation, Plant, Pollen, Pollination
from crosscompat.book.store import open_store
from crosscompat.book.store.database import transaction
from crosscompat.book.store.seal import digest_of
from crosscompat.book.store.tables import to_sql

TOMORROW = (date.today() + timedelta(days=1)).isoformat()  # noqa: DTZ011


def flat(text):
    return " ".join(text.split())


@pytest.fixture
def mine(run, empty_folder, monkeypatch):
    """A new collection with one cross of four flowers in its book."""
    run("new", "mine")
    monkeypatch.chdir(empty_folder / "mine")
    monkeypatch.delenv("CROSSCOMPAT_GROWER", raising=False)
    store = open_store(empty_folder / "mine" / "book.sqlite")
    mother, father = Plant(name="COC-1", received_as="Echinocereus coccineus"), Plant(name="DAS-1")
    cross = Cross(number="26-01", seed_plant=mother.id)
    visit = Pollination(cross=cross.id, date=date(2026, 5, 1), units=4, unit_kind="flower", marker="red thread")
    with store.writing("pollinated", who="Ida") as pen:
        pen.add(mother, father, cross, visit, Pollen(pollination=visit.id, plant=father.id))
    store.close()
    return empty_folder / "mine"


def aged(folder):
    """Let all that is in the book have been written three days ago."""
    store = open_store(folder / "book.sqlite")
    with transaction(store.database, writing=True) as connection:
        before = datetime.now(UTC) - timedelta(days=3)
        connection.execute("UPDATE changes SET at = ?", (to_sql(before, "sqlite"),))
        for (number,) in connection.execute("SELECT id FROM changes ORDER BY id").fetchall():
            digest = digest_of(connection.execute, number)
            connection.execute("UPDATE changes SET digest = ? WHERE id = ?", (digest, number))
    store.close()


def changes(folder):
    store = open_store(folder / "book.sqlite")
    with store.reading() as page:
        found = [change.what for change in page.changes()]
    store.close()
    return found


def counts(folder):
    store = open_store(folder / "book.sqlite")
    with store.reading() as page:
        found = [(one.what, one.count, one.by) for one in page.current(Observation)]
    store.close()
    return found


def test_a_cross_is_followed_from_the_first_swelling_to_the_proof(run, answer, mine):
    run("observe", "26-01", "--swelling", "3", "--on", "2026-05-12", "--by", "Ida")
    run("observe", "26 01", "--dropped", "1", "--ripe", "2", "--on", "2026-07-20", "--by", "Ida")
    run(
        "observe",
        "2601",
        "--harvest",
        "--pods",
        "2",
        "--seeds",
        "40",
        "--filled",
        "30",
        "--lot",
        "A",
        "--on",
        "2026-07-21",
    )
    run("observe", "26-01", "--sown", "30", "--treatment", "warm water", "--tray", "T1", "--on", "2026-08-01")
    run("observe", "26-01", "--up", "5", "--highest", "6", "--on", "2026-08-20")
    found = answer("observe", "26-01", "--proof", "looks hybrid", "--by-what", "spines", "--over", "germinate")
    assert found["totals"] == {
        "units": 4, "pods_set": 3, "pods_held": 2, "seeds": 40, "seeds_filled": 30, "seeds_sown": 30, "seedlings": 6,
    }  # fmt: skip
    assert (found["over"], found["seed_parent"]) == ("germinate", "Echinocereus coccineus [COC-1]")
    assert [len(found[part]) for part in ("visits", "counts", "lots", "trays", "losses", "proofs")] == [
        1,
        3,
        1,
        2,
        0,
        1,
    ]
    assert [one["kind"] for one in found["wrote"]] == ["proof of hybridity", "cross"]
    shown = run("observe", "26-01").stdout
    assert "[DAS-1]" not in shown  # a plant that is known by its own name only is named once
    assert "Together: 4 pollinated, 3 fruit set, 2 ripe, 40 seeds, 30 filled, 30 sown, 6 seedlings." in shown
    assert "sowing of" not in shown
    assert answer("observe", "26-01")["wrote"] == []


def test_who_writes_may_be_settled_once(run, mine):
    run("observe", "26-01", "--swelling", "1", CROSSCOMPAT_GROWER="Tom")
    run("observe", "26-01", "--ripe", "1", "--by", "Ida", CROSSCOMPAT_GROWER="Tom")
    assert counts(mine) == [("pods_set", 1, "Tom"), ("pods_held", 1, "Ida")]
    told = run("history").stdout
    assert re.search(r"^3\. .* UTC, Ida: seen on 26-01", told, re.MULTILINE)


def test_a_dry_run_writes_nothing(run, answer, mine):
    assert answer("observe", "26-01", "--swelling", "2", "--dry-run")["change"] is None
    assert "dry run, nothing written" in run("observe", "26-01", "--swelling", "2", "--dry-run").stdout
    assert counts(mine) == []


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["26-01", "--swelling", "5"], "(5 > 4)"),
        (["26-01", "--swelling", "1", "--on", "2026-04-30"], "before the pollination"),
        (["26-01", "--swelling", "1", "--on", TOMORROW], "in the future"),
        (["26-02", "--swelling", "1"], "26-01"),
        (["26-01", "--seeds", "3"], "--only-good, --weight, --left and --lot belong to --harvest"),
        (["26-01", "--pods", "3", "--seeds", "4"], "belong to --harvest"),
        (
            ["26-01", "--pods", "3"],
            "For 3 pods that swelled say --swelling 3; for ripe ones on the plant say --ripe 3.",
        ),
        (["26-01", "--pods", "1"], "For 1 pod that swelled say --swelling 1;"),
        (["26-01", "--from", "A"], "--sown"),
        (["26-01", "--against", "no"], "--lost"),
        (["26-01", "--by-what", "spines"], "--proof"),
        (["26-01", "--tray", "T1"], "--tray"),
        (["26-01", "--over", "spring"], "germinate"),
        (["26-01", "--proof", "surely"], "looks hybrid"),
        (["26-01", "--lost", "mice", "--against", "maybe"], "unsure"),
        (["26-01", "--up", "2"], "--sown N"),
        (["26-01", "--swelling", "-1"], "--swelling"),
        (["26-01", "--note", ""], "--note is blank"),
        (["26-01", "--swelling", "1", "--by", " "], "--by is blank"),
        (
            ["26-01", "--lost", " ", "--note", "", "--by-what", "x"],
            "--lost is blank",
        ),
        (["26-01", "--sown", "3", "--from", " ", "--tray", ""], "--from is blank"),
        (["26-01", "--harvest", "--lot", "\t"], "--lot is blank"),
        (["26-01", "--doubtful", ""], "--doubtful is blank"),
        (["26-01", "--proof", ""], "--proof is blank"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "",
)
def test_what_cannot_be_is_refused_with_the_reason(run, mine, arguments, says):
    outcome = run("observe", *arguments, code=2)
    assert outcome.stdout == ""
    assert says in outcome.stderr
    assert counts(mine) == []


def test_pods_on_a_cross_that_had_none_are_asked_about(run, mine):
    run("observe", "26-01", "--swelling", "0", "--on", "2026-05-12")
    outcome = run("observe", "26-01", "--swelling", "2", code=1)
    assert "On 12 May no" in outcome.stderr
    letters = re.search(r"crosscompat correct (\w+)", outcome.stderr)[1]
    assert "--anyway" in outcome.stderr
    assert len(counts(mine)) == 1
    run("correct", letters, "count=1")
    run("observe", "26-01", "--swelling", "2")
    assert [n for _, n, _ in counts(mine)] == [1, 2]


def test_with_anyway_it_is_written_beside_the_earlier_count(run, mine):
    run("observe", "26-01", "--swelling", "0")
    run("observe", "26-01", "--swelling", "2", "--anyway")
    assert [n for _, n, _ in counts(mine)] == [0, 2]


def test_a_count_of_all_so_far_that_falls_is_asked_about(run, answer, mine):
    run("observe", "26-01", "--swelling", "4", "--on", "2026-05-12")
    outcome = run("observe", "26-01", "--swelling", "2", code=1)
    assert "On 12 May 4 fruit had set, now " in outcome.stderr
    assert "--dropped" in outcome.stderr
    assert outcome.stdout == ""
    assert len(counts(mine)) == 1
    assert answer("observe", "26-01", "--swelling", "2", "--anyway")["change"] == 3
    assert [n for _, n, _ in counts(mine)] == [4, 2]


def test_what_cannot_be_is_refused_before_anything_is_asked(run, mine):
    run("observe", "26-01", "--swelling", "0")
    for more in ([], ["--anyway"]):
        outcome = run("observe", "26-01", "--swelling", "5", *more, code=2)
        assert "(5 > 4)" in outcome.stderr
        assert "no pod had set" not in outcome.stderr
    assert [n for _, n, _ in counts(mine)] == [0]


def test_what_the_book_says_already_is_no_change(run, answer, mine):
    run("observe", "26-01", "--over", "set")
    for more in ([], ["--dry-run"]):
        shown = run("observe", "26-01", "--over", "set", *more).stdout
        assert "26-01: the book says that already. Nothing was written." in shown
        assert "Saved as change" not in shown
        found = answer("observe", "26-01", "--over", "set", *more)
        assert (found["wrote"], found["change"], found["over"]) == ([], None, "set")
    assert changes(mine) == ["pollinated", "seen on 26-01"]
    assert "already" not in run("observe", "26-01").stdout
    run("undo")
    assert answer("observe", "26-01")["over"] is None


def test_no_command_that_changes_nothing_notes_a_change(run, mine):
    run("correct", "26-01", "number=26-01", code=2)
    run("plant", "DAS-1", "--place", "bench 2")
    run("plant", "DAS-1", "--place", "bench 2")
    run("undo")
    run("undo", "2", code=2)
    assert len(changes(mine)) == 3


@pytest.mark.parametrize(
    "arguments",
    [["undo", "--by", " "], ["correct", "26-01", "aim=red", "--by", ""], ["plant", "P-1", "--new", "--by", " "],
     ["find", "--marker", " "], ["find", "--plant", "", "--pollen", "DAS-1"]],
    ids=" ".join,
)  # fmt: skip
def test_a_blank_option_is_refused_wherever_it_is_given(run, mine, arguments):
    assert "blank" in run(*arguments, code=2).stderr
    assert changes(mine) == ["pollinated"]


def test_a_blank_hand_in_the_environment_is_nobody(run, mine):
    run("observe", "26-01", "--swelling", "1", CROSSCOMPAT_GROWER=" ")
    assert counts(mine) == [("pods_set", 1, None)]


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="needs a terminal of its own")
@pytest.mark.parametrize(
    ("before", "reply", "code", "left"),
    [(0, "y", 0, [0, 2]), (0, "n", 1, [0]), (0, "", 1, [0]), (4, "y", 0, [4, 2]), (4, "n", 1, [4])],
)
def test_on_a_terminal_it_asks(run, process, mine, before, reply, code, left):
    run("observe", "26-01", "--swelling", before)
    master, slave = os.openpty()
    running = process("observe", "26-01", "--swelling", "2", wait=False, folder=mine, stdin=slave, stderr=slave)
    os.write(master, f"{reply}\n".encode())
    running.communicate(timeout=60)
    os.close(slave)
    said = os.read(master, 10_000).decode()
    os.close(master)
    assert running.returncode == code, said
    assert "[y/N]" in said
    assert [n for _, n, _ in counts(mine)] == left


def test_a_correction_says_what_stood_there_and_the_history_keeps_both(run, answer, mine):
    run("observe", "26-01", "--swelling", "3", "--on", "2026-05-12")
    letters = answer("observe", "26-01")["counts"][0]["short"]
    assert "count: 3 → 2" in run("correct", letters, "count=2", "--by", "Ida").stdout
    found = answer("history", "26-01")
    assert [change["what"] for change in found["changes"]] == [
        "count of fruit of 12 May 2026 corrected",
        "seen on 26-01",
        "pollinated",
    ]
    assert found["changes"][0]["records"][0]["fields"] == [{"field": "count", "was": "3", "now": "2"}]
    assert "(count: 3 → 2)" in run("history", "26-01").stdout
    assert [change["number"] for change in answer("history", "coc-1")["changes"]] == [1]
    assert answer("history", "--most", "1")["earlier"] == 2
    run("history", "nobody", code=2)


def test_a_record_is_taken_back_and_comes_again(run, answer, mine):
    run("observe", "26-01", "--swelling", "3")
    letters = answer("observe", "26-01")["counts"][0]["short"]
    assert "withdrawn: " in run("correct", letters, "--withdraw").stdout
    assert counts(mine) == []
    run("correct", letters, "--withdraw", code=2)
    told = answer("undo", "--dry-run")
    assert (told["undone"]["number"], told["change"]) == (3, None)
    assert counts(mine) == []
    told = answer("undo")
    assert re.fullmatch(r"count of fruit of \d+ \w+ \d{4} withdrawn", told["undone"]["what"])
    assert (told["undone"]["undone_by"], told["change"]) == (None, 4)
    assert counts(mine) == [("pods_set", 3, None)]
    assert [one["undone_by"] for one in answer("history")["changes"]] == [None, 4, None, None]
    assert "put back" in run("history").stdout
    run("undo", "3", code=2)
    run("undo")
    assert counts(mine) == []
    run("correct", "26-01", "aim=red", "--withdraw", code=2)


def test_a_lost_label_is_looked_for_and_a_doubt_is_kept(run, answer, mine):
    found = answer("find", "--plant", "COC-1", "--date", "2026-05-02", "--marker", "red")
    assert [one["cross"] for one in found["candidates"]] == ["26-01"]
    assert "marked “red thread”" in run("find", "--marker", "red thread").stdout
    assert answer("find", "--plant", "nobody", code=1)["candidates"] == []
    assert "No cross" in run("find", "--plant", "nobody", code=1).stdout
    for arguments in ([], ["--date", "2026-05-01", "--between", "2026-05-01", "2026-05-02"]):
        run("find", *arguments, code=2)
    run("find", "--between", "2026-05-03", "2026-05-01", code=2)
    run("observe", "26-01", "--ripe", "2", "--doubtful", "label lost, by its place")
    assert "may be another cross" in run("observe", "26-01").stdout
    run("correct", "26-01", "doubt=")
    assert "not sure" not in run("observe", "26-01").stdout


def test_a_copy_is_taken_and_put_back_and_nothing_is_lost_unasked(run, answer, mine):
    copy = answer("backup")["file"]
    assert answer("backup", "mine.sqlite")["file"] == "mine.sqlite"
    run("backup", "mine.sqlite", code=2)
    run("observe", "26-01", "--swelling", "3")
    assert "1 change that this copy does not" in run("restore", "--last", code=1).stderr
    assert len(counts(mine)) == 1
    told = answer("restore", "--last", "--anyway")
    assert (told["backup"], told["was_sound"]) == (copy, True)
    assert counts(mine) == []
    run("restore", told["kept"])
    assert len(counts(mine)) == 1
    run("restore", code=2)
    run("restore", "mine.sqlite", "--last", code=2)
    run("restore", "collection.toml", code=2)


def test_a_copy_that_went_its_own_way_does_not_take_the_place_of_the_book_unasked(run, answer, mine):
    copy = answer("backup")["file"]
    other = shutil.copytree(mine, mine.parent / "other")
    run("observe", "26-01", "--swelling", "3")
    run("observe", "26-01", "--swelling", "1", "--collection", other)
    theirs = answer("backup", "--collection", other)["file"]
    assert "1 change that this copy does not" in run("restore", theirs, code=1).stderr
    assert [n for _, n, _ in counts(mine)] == [3]
    assert [n for _, n, _ in counts(other)] == [1]
    run("restore", copy, "--anyway")
    assert run("restore", theirs).stderr == ""
    assert [n for _, n, _ in counts(mine)] == [1]


def harmed(folder):
    """Harm the plants and leave the list of changes readable."""
    store = open_store(folder / "book.sqlite")
    with store.reading() as page:
        root = page.connection.execute("SELECT rootpage FROM sqlite_master WHERE name = 'plants'").fetchone()[0]
    store.close()
    content = bytearray((folder / "book.sqlite").read_bytes())
    content[(root - 1) * 4096 : root * 4096] = b"\x55" * 4096
    (folder / "book.sqlite").write_bytes(content)


def test_a_damaged_book_is_mended_unasked_by_a_copy_that_has_all_that_can_be_read_of_it(run, answer, mine):
    run("observe", "26-01", "--swelling", "3")
    run("backup")
    harmed(mine)
    run("observe", "26-01", code=3)
    assert answer("restore", "--last")["was_sound"] is False
    assert [n for _, n, _ in counts(mine)] == [3]


def test_a_damaged_book_that_holds_what_the_copy_lacks_is_asked_about(run, answer, mine):
    run("backup")
    run("observe", "26-01", "--swelling", "3")
    harmed(mine)
    assert "1 change that this copy does not" in run("restore", "--last", code=1).stderr
    run("observe", "26-01", code=3)
    assert answer("restore", "--last", "--anyway")["was_sound"] is False
    assert counts(mine) == []


def test_the_book_is_copied_before_the_first_writing_of_a_day_and_mended_from_that(run, answer, mine):
    aged(mine)
    run("observe", "26-01", "--dry-run", "--swelling", "1")
    assert not (mine / "backups").exists()
    run("observe", "26-01", "--swelling", "1")
    run("observe", "26-01", "--swelling", "3")
    (copy,) = (mine / "backups").iterdir()
    assert copy.name.endswith("-daily.sqlite")
    (mine / "book.sqlite").write_bytes(b"hello" * 5000)
    assert answer("restore", "--last")["backup"] == str(copy.relative_to(mine))
    assert counts(mine) == []


@pytest.mark.parametrize("command", [["observe", "26-01", "--swelling", "1"], ["plant", "P-1", "--new"], ["undo"]])
def test_where_the_book_cannot_be_copied_that_is_told_and_it_is_written_in(run, mine, command):
    aged(mine)
    (mine / "backups").write_text("no folder")
    outcome = run(*command, "--json")
    assert "could not be copied today: backups: File exists." in outcome.stderr
    assert json.loads(outcome.stdout)["schema"]
    assert len(changes(mine)) == 2


def test_a_copy_that_has_no_place_is_told_by_its_own_name(run, mine):
    (mine / "shelf").write_text("no folder")
    assert "shelf" in run("backup", "shelf/copy.sqlite", code=74).stderr
    assert counts(mine) == []


@pytest.mark.parametrize("damage", [b"", b"hello" * 5000])
def test_a_damaged_book_is_told_with_the_way_back_and_mended(run, answer, mine, damage):
    run("backup")
    (mine / "book.sqlite").write_bytes(damage)
    for command in (["observe", "26-01"], ["history"], ["check"], ["find", "--plant", "COC-1"], ["undo"], ["backup"]):
        outcome = run(*command, code=3)
        assert "restore --last" in outcome.stderr
        assert outcome.stdout == ""
    told = answer("restore", "--last")
    assert told["was_sound"] is False
    assert (mine / told["kept"]).read_bytes() == damage
    assert "26-01" in run("observe", "26-01").stdout


def test_what_was_altered_behind_our_back_is_named_by_check_and_stops_writing_alone(run, answer, mine):
    run("observe", "26-01", "--swelling", "3")
    before = run("check", code=1).stdout
    with sqlite3.connect(mine / "book.sqlite") as connection:
        connection.execute("UPDATE observations SET count = 4")
    connection.close()
    assert "Change 2 in the cross book" in flat(run("check", code=1).stdout)
    assert any("Change 2 in" in notice for notice in answer("check", code=1)["notices"])
    assert "nothing more is written in it" in flat(run("observe", "26-01", "--ripe", "1", code=3).stderr)
    run("backup", code=3)
    for command in (["observe", "26-01"], ["history"], ["export", "book.zip"], ["due"]):
        run(*command)
    assert "Change 2 in this export" in run("import", "book.zip", "--collection", new_collection(run), code=2).stderr
    assert "Change 2 in" not in before


def new_collection(run):
    run("new", "other")
    return "other"


def test_another_book_in_the_place_of_ours_is_read_and_not_written_in(run, mine):
    run("new", "other")
    run("plant", "P-1", "--new", "--collection", "other")
    shutil.copy("other/book.sqlite", mine / "book.sqlite")
    assert "not the one that belongs to this collection" in flat(run("history").stderr)
    assert "nothing is written in it" in flat(run("plant", "P-2", "--new", code=3).stderr)


def test_without_a_copy_there_is_none_to_put_back(run, mine):
    assert "no good copy" in run("restore", "--last", code=2).stderr


@pytest.mark.parametrize("command", [["backup"], ["restore", "--last"]])
def test_a_book_on_a_server_is_copied_by_the_servers_tools(run, mine, command):
    outcome = run(*command, code=2, CROSSCOMPAT_BOOK="postgresql://society@localhost/crosses")
    assert "pg_dump" in outcome.stderr
    assert "crosscompat export" in outcome.stderr


def test_a_busy_book_ends_with_four(run, mine, monkeypatch):
    monkeypatch.setattr("crosscompat.book.store.database._WAIT_SECONDS", 0.2)
    other = sqlite3.connect(mine / "book.sqlite", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    outcome = run("observe", "26-01", "--swelling", "1", code=4)
    assert "Nothing has been written" in outcome.stderr
    other.close()
    assert counts(mine) == []


LIMITED = """
import os, resource, sys
from crosscompat.__main__ import main
import crosscompat.advice.season.history
{before}
sys.argv = ["crosscompat", "observe", "26-01", "--swelling", "1", "--note", "x" * 100_000]
main()
"""


def test_a_full_disk_ends_with_three_and_harms_nothing(process, mine):
    limit = (mine / "book.sqlite").stat().st_size // 4
    before = f"resource.setrlimit(resource.RLIMIT_FSIZE, ({limit}, {limit}))"
    outcome = process(switches=["-c", LIMITED.format(before=before)], folder=mine)
    assert outcome.returncode == 3, outcome.stderr
    assert b"Nothing has been changed" in outcome.stderr
    assert counts(mine) == []


@pytest.mark.parametrize("command", [["observe", "26-01"], ["history"], ["undo"], ["backup"], ["restore", "--last"]])
def test_without_a_collection_it_says_how_to_make_one(run, empty_folder, command):
    assert "crosscompat new DIR" in run(*command, code=2).stderr
    assert list(empty_folder.iterdir()) == []


@pytest.mark.parametrize(
    "command", [["observe", "26-01", "--swelling", "1"], ["history"], ["find", "--plant", "COC-1"]]
)
def test_writing_and_looking_load_no_heavy_library(process, mine, command):
    outcome = process(*command, switches=["-X", "importtime"], folder=mine)
    assert outcome.returncode == 0, outcome.stderr
    found = {line.split("|")[-1].strip().split(".")[0] for line in outcome.stderr.decode().splitlines() if "|" in line}
    assert found & {"pandas", "sklearn", "scipy", "dendropy", "Bio"} == set()
    assert "sqlite3" in found


def test_what_a_great_import_wrote_is_counted_and_not_listed_unless_asked(run, answer, mine):
    store = open_store(mine / "book.sqlite")
    with store.writing("from a table") as pen:
        pen.imported = True
        pen.add(*(Plant(name=f"P{i}") for i in range(250)))
    store.close()
    shown = run("history").stdout
    assert "250 records; --json lists them." in shown
    assert "P17" not in shown
    assert len(answer("history")["changes"][0]["records"]) == 250
    assert len(answer("undo")["undone"]["records"]) == 250
