"""Tables in and out from the command line."""

from __future__ import annotations

import csv
import zipfile

import pytest

from crosscompat.book.import_export.whole_book import INVENTED
from crosscompat.book.store import open_store

TABLE = """My crosses;;;;;
No.;Pod parent;Pollen donor;Date;Flowers;Took
007;Echinocereus coccineus;E. dasyacanthus;25.04.2025;3;2
008;Echinocereus coccineus;E. dasycanthus;2025-04-26;1;yes
"""
BAD = TABLE + "009;Echinocereus coccineus;;03/04/2025;2;3\n"
SAID = ("--took-means", "seedling", "--only-successes", "no")


def changes(folder):
    store = open_store(folder / "book.sqlite")
    with store.reading() as page:
        found = page.changes()
    store.close()
    return found


def test_a_table_is_shown_and_nothing_is_done_before_what_is_open_is_said(run, answer, new, table):
    folder, file = new(), table()
    outcome = run("import", file, "--collection", folder, code=1)
    assert "each row is a cross; the headings are in row 2" in outcome.stdout
    shown = [line.split() for line in outcome.stdout.splitlines()]
    assert ["Pod", "parent", "seed_parent", "Echinocereus", "coccineus"] in shown
    assert ["Pollen", "donor", "pollen_parent", "E.", "dasyacanthus"] in shown
    for option in ("--took-means", "--only-successes", "--yes"):
        assert option in outcome.stdout
    assert len(answer("import", file, "--collection", folder, code=1)["questions"]) == 3
    assert len(answer("import", file, "--collection", folder, *SAID, code=1)["questions"]) == 1
    assert changes(folder) == ()


def test_a_table_is_taken_in_once(answer, new, table):
    folder, file = new(), table()
    found = answer("import", file, "--collection", folder, *SAID, "--yes", "--by", "A. Grower")
    assert (found["rows"], found["crosses"], found["same"], found["written"], found["change"]) == (2, 2, 0, True, 1)
    (change,) = changes(folder)
    assert (change.what, change.who, change.imported) == ("imported my.csv", "A. Grower", True)
    again = answer("import", file, "--collection", folder, *SAID, "--yes")
    assert (again["crosses"], again["same"], again["written"], again["change"]) == (0, 2, False, None)
    assert len(changes(folder)) == 1


def test_a_name_that_the_tree_does_not_know_is_no_fault(run, answer, new, table):
    folder, file = new(), table()
    table(TABLE + "009;Echinocereus grexlike;E. dasyacanthus;2025-04-27;1;no\n")
    outcome = run("import", file, "--collection", folder, *SAID, "--yes")
    assert "Echinocereus dasyacanthus" in outcome.stdout.split("“E. dasycanthus”")[1]
    assert " ".join(outcome.stdout.split()).count("no odds until it is settled") == 1
    assert "3 crosses" in outcome.stdout
    name, _ = answer("import", file, "--collection", new("other"), *SAID, "--yes")["unplaced"]
    assert (name["name"], name["nearest"][0]) == ("E. dasycanthus", "Echinocereus dasyacanthus")


def test_a_dry_run_says_what_would_be_and_writes_nothing(run, answer, new, table):
    folder, file = new(), table()
    assert "--took-means" in run("import", file, "--collection", folder, "--dry-run").stdout
    outcome = run("import", file, "--collection", folder, *SAID, "--dry-run")
    assert "Dry run, nothing written. It would add: 2 crosses." in outcome.stdout
    assert answer("import", file, "--collection", folder, *SAID, "--dry-run")["crosses"] == 2
    assert changes(folder) == ()


def test_with_one_bad_row_nothing_goes_in_unless_the_good_rows_alone_are_asked_for(run, answer, new, table):
    folder, file = new(), table(BAD)
    outcome = run("import", file, "--collection", folder, *SAID, "--yes", code=3)
    assert "my.csv, row 5, column Date: “03/04/2025” is not a clear date." in outcome.stderr
    assert "my.csv, row 5, column Took: There are more" in outcome.stderr
    assert "my.csv, row 5, column Pollen donor: This must be filled in." in outcome.stderr
    assert "1 row has faults, 2 rows are good and new. Nothing was saved" in outcome.stderr
    assert changes(folder) == ()
    told = answer("import", file, "--collection", folder, *SAID, "--yes", code=3)
    assert (told["bad_rows"], told["crosses"], told["written"]) == (1, 2, False)
    (late,) = [one for one in told["faults"] if one["column"] == "Date"]
    assert (late["file"], late["sheet"], late["row"], late["value"]) == ("my.csv", None, 5, "03/04/2025")
    outcome = run("import", file, "--collection", folder, *SAID, "--yes", "--good-rows")
    assert "2 crosses" in outcome.stdout
    assert "row 5" in outcome.stderr


def test_the_grower_says_which_column_is_which(run, answer, new, table):
    folder = new()
    file = table("A;B;Moment;Soil\nEchinocereus coccineus;E. dasyacanthus;2025-04-25;pumice\n")
    told = run("import", file, "--collection", folder, "--yes", code=2)
    assert "No column says: date; seed_parent or seed_plant or pair; pollen_parent" in told.stderr
    columns = {"A": "seed_parent", "B": "pollen_parent", "Moment": "date", "Soil": "note"}
    lines = ["what,yours,answer", *(f"column,{theirs},{ours}" for theirs, ours in columns.items())]
    (folder / "imports" / "my.csv").write_text("\n".join(lines), encoding="utf-8")
    found = answer("import", file, "--collection", folder, "--only-successes", "unknown", "--yes")
    assert [column["becomes"] for column in found["columns"]] == ["seed_parent", "pollen_parent", "date", "note"]
    assert found["crosses"] == 1


def test_a_sheet_of_several_is_chosen(run, answer, new, empty_folder):
    import openpyxl

    book = openpyxl.Workbook()
    for sheet, seed in (
        (book.active, "Echinocereus coccineus"),
        (book.create_sheet("2025"), "Echinocereus pectinatus"),
    ):
        sheet.append(["Mother", "Father", "Date"])
        sheet.append([seed, "E. dasyacanthus", "2025-04-03"])
    book.save(empty_folder / "my.xlsx")
    folder = new()
    arguments = ("import", "my.xlsx", "--collection", folder, "--only-successes", "no", "--yes")
    assert "several sheets: Sheet, 2025. Choose one with --sheet" in run(*arguments, code=2).stderr
    assert "no sheet called 2024" in run(*arguments, "--sheet", "2024", code=2).stderr
    found = answer(*arguments, "--sheet", "2025")
    assert (found["sheet"], found["columns"][0]["example"], found["crosses"]) == ("2025", "Echinocereus pectinatus", 1)
    assert changes(folder)[0].what == "imported my.xlsx, sheet 2025"


@pytest.mark.parametrize(
    ("option", "word"),
    [("--rows-are", "seeds"), ("--took-means", "fruit"), ("--only-successes", "maybe"), ("--dates", "dmy")],
)
def test_a_word_that_is_no_answer_is_refused(run, new, table, option, word):
    outcome = run("import", table(), "--collection", new(), option, word, code=2)
    assert f"; not “{word}”." in outcome.stderr


def test_what_is_for_a_phone_alone_is_refused_for_a_table(run, new, table):
    assert "is no such file" in run("import", table(), "--collection", new(), "--anyway", code=2).stderr


def archive(path):
    with zipfile.ZipFile(path) as package:
        return {name: package.read(name) for name in package.namelist()}


def test_a_book_goes_out_and_into_an_empty_one(run, answer, new, table, own):
    target = "book.zip"
    told = answer("export", target, "--collection", own)
    assert told["versions"] > 100
    other = new("other")
    dry = answer("import", target, "--collection", other, "--dry-run")
    assert (dry["rows_are"], dry["rows"], dry["written"]) == ("whole book", told["versions"], False)
    found = answer("import", target, "--collection", other)
    assert (found["rows"], found["written"]) == (told["versions"], True)
    again = f"again-{target}"
    run("export", again, "--collection", other)
    sent, back = archive(own.parent / target), archive(own.parent / again)
    del sent["contents.json"], back["contents.json"]
    assert sent.pop(INVENTED) == b"The outcomes in this book are invented."
    assert sent == back
    assert "empty book only" in run("import", target, "--collection", other, code=2).stderr


def test_invented_outcomes_say_so_on_their_way_into_another_collection(run, answer, new, own):
    run("export", "book.zip", "--collection", own)
    other = new("other")
    assert answer("import", "book.zip", "--collection", other, "--dry-run")["invented"] is True
    said = run("import", "book.zip", "--collection", other, "--dry-run").stdout
    assert "outcomes in this collection are invented" in said
    assert "`invented = true`" in said
    run("import", "book.zip", "--from", "A. Friend", "--yes", "--collection", other)
    run("export", "--crosses", "friend.csv", "--collection", other)
    with (own.parent / "friend.csv").open(encoding="utf-8", newline="") as lines:
        assert {row["source"] for row in csv.DictReader(lines)} == {"invented"}
    honest = answer("export", "honest.zip", "--collection", new("honest"))
    assert honest["invented"] is False
    assert answer("import", "honest.zip", "--collection", new("third"), "--dry-run")["invented"] is False


def test_a_table_read_into_an_invented_collection_is_told_so(run, answer, own):
    run("export", "--crosses", "summary.csv", "--collection", own)
    assert answer("import", "summary.csv", "--dry-run", "--collection", own)["invented"] is True
    said = run("import", "summary.csv", "--dry-run", "--collection", own).stdout
    assert said.startswith("The outcomes in this collection are invented.")


def test_the_summary_of_crosses_comes_back_as_what_the_book_says(run, answer, own):
    told = answer("export", "--crosses", "summary.csv", "--collection", own)
    assert told["crosses"] > 10
    found = answer("import", "summary.csv", "--collection", own)
    assert (found["same"], found["crosses"], found["faults"]) == (told["crosses"], 0, [])


def test_a_summary_of_invented_crosses_says_so_of_each(run, own):
    run("pollinate", "COC-F1", "DAS-1", "--on", "2026-05-01", "--collection", own)
    run("export", "--crosses", "summary.csv", "--collection", own)
    with (own.parent / "summary.csv").open(encoding="utf-8", newline="") as lines:
        assert {row["source"] for row in csv.DictReader(lines)} == {"invented"}


def test_an_export_says_where_to_and_overwrites_nothing(run, own, table):
    assert "Say where to" in run("export", "--collection", own, code=2).stderr
    file = table()
    for arguments in (("--crosses", file), (own,), ("my.csv",)):
        run("export", *arguments, "--collection", own, code=2)
    assert file.read_text(encoding="utf-8") == TABLE


def test_at_a_terminal_it_asks(at_a_terminal, new, table):
    folder, file = new(), table()
    text = at_a_terminal(["never", "seed", "no", "yes"], "import", file, "--collection", folder)
    assert text.count('What does "took" count') == 2
    assert "Did you write down successes only" in text
    assert "Import it like this?" in text
    assert [change.what for change in changes(folder)] == ["imported my.csv"]
