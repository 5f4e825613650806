"""What a table leaves open is asked at the terminal, or answered in a file that is remembered."""

from __future__ import annotations

import csv
from dataclasses import fields

import openpyxl
import pytest

from crosscompat.book import records
from crosscompat.book.cross_summary import crosses_of
from crosscompat.book.store import open_store

COC, DAS = "Echinocereus coccineus", "Echinocereus dasyacanthus"
TABLE = f"""No.;Mother ♀;Father;Date poll.;# flowers;Seedlingz;Soil;Remarks
1;{COC};{DAS};3 April 2024;4;;pumice;slugs ate the spike
2;{COC};{DAS};4 April 2024;2;;loam;Frost
3;{COC};{DAS};5 April 2024;2;;;pod aborted
4;{COC};{DAS};6 April 2024;3;7;;red thread
"""


def crosses(folder):
    store = open_store(folder / "book.sqlite")
    with store.reading() as page:
        found = {cross.cross: cross for cross in crosses_of(page)}
        plants = [plant.name for plant in page.current(records.Plant)]
    store.close()
    return found, plants


def fill_in(path, answers):
    with path.open(encoding="utf-8", newline="") as lines:
        rows = list(csv.reader(lines))
    for row in rows:
        row[2] = answers.get(row[1], row[2])
    with path.open("w", encoding="utf-8", newline="") as out:
        csv.writer(out).writerows(rows)


ANSWERS = {
    "slugs ate the spike": "accident", "Frost": "accident", "pod aborted": "failed", "Soil": "note",
    "only successes": "no", "columns": "yes",
}  # fmt: skip


def check(folder):
    found, _ = crosses(folder)
    assert (found["1"].lost_to, found["2"].lost_to) == ("slugs ate the spike", "Frost")
    assert (found["3"].lost_to, found["3"].tried, found["3"].took) == (None, 2, 0)
    assert (found["4"].seedlings, found["4"].note) == (7, "red thread")
    assert found["1"].note == "Soil: pumice; slugs ate the spike"


def test_without_a_terminal_a_file_is_written_to_be_filled_in_and_remembered(run, answer, new, table):
    folder, file = new(), table()
    first = answer("import", file, "--collection", folder, code=1)
    assert first["answers_file"] == str(folder / "imports" / "my.csv")
    run("import", file, "--collection", folder, "--only-successes", "no", code=1)
    fill_in(folder / "imports" / "my.csv", ANSWERS)
    done = answer("import", file, "--collection", folder)
    assert (done["crosses"], done["faults"]) == (4, [])
    check(folder)
    more = table(TABLE + f"5;{COC};{DAS};7 April 2024;3;2;clay;red thread\n")
    again = answer("import", more, "--collection", folder)
    assert (again["same"], again["crosses"]) == (4, 1)


def test_a_file_of_answers_goes_with_the_table(answer, new, table, empty_folder):
    folder, file = new(), table()
    mine = empty_folder / "answers.csv"
    answer("import", file, "--collection", folder, "--columns", mine, "--only-successes", "no", code=1)
    fill_in(mine, ANSWERS)
    assert answer("import", file, "--collection", folder, "--columns", mine)["crosses"] == 4
    check(folder)


@pytest.mark.parametrize("link", ["imports", "imports/my.csv"])
def test_no_link_in_the_collection_leads_the_answers_elsewhere(run, new, table, empty_folder, link):
    folder, elsewhere = new(), empty_folder / "elsewhere"
    (elsewhere / "imports").mkdir(parents=True)
    (folder / link).parent.mkdir(exist_ok=True)
    (folder / link).symlink_to(elsewhere / link)
    assert "a link that leads elsewhere" in run("import", table(), "--collection", folder, code=2).stderr
    assert list((elsewhere / "imports").iterdir()) == []


def test_an_answer_that_is_none_is_told_with_all_others(run, new, table, empty_folder):
    folder, mine = new(), empty_folder / "answers.csv"
    mine.write_text("what,yours,answer\ncolumn,Soil,dirt\nnote,Frost,perhaps\nquestion,dates,dmy\n", encoding="utf-8")
    told = run("import", table(), "--collection", folder, "--columns", mine, code=3).stderr
    assert [f"answers.csv, row {row}" in told for row in (2, 3, 4)] == [True] * 3


def test_at_a_terminal_unknown_columns_and_notes_are_asked(at_a_terminal, new, table):
    folder, file = new(), table()
    said = at_a_terminal(["", "note", "no", "1 2", "all", "yes"], "import", file, "--collection", folder)
    assert "“Seedlingz” (7): what is it? Enter for seedlings" in said
    assert "“Soil” (pumice; loam): what is it? Enter for note" in said
    assert said.count("?:") + said.count("none:") <= 5
    check(folder)
    assert "4 rows are in the book already" in at_a_terminal([], "import", file, "--collection", folder)


def test_the_sheets_of_a_workbook_are_offered(at_a_terminal, new, empty_folder):
    book = openpyxl.Workbook()
    for sheet, number in ((book.active, "1"), (book.create_sheet("Season 2025"), "2")):
        sheet.append(["No.", "Mother", "Father", "Date"])
        sheet.append([number, COC, DAS, "2025-04-03"])
    book.save(empty_folder / "my.xlsx")
    folder = new()
    said = at_a_terminal(["season", "no", "yes"], "import", "my.xlsx", "--collection", folder)
    assert "Which sheet?" in said
    assert list(crosses(folder)[0]) == ["2"]


FRIENDS = f"No.;Mother;Pollen plant;Date;Seedlings\n24-01;{COC};das-1;2024-04-03;5\n"


def test_a_friends_crosses_come_in_under_the_friends_name(answer, new, table):
    folder = new()
    arguments = ("--collection", folder, "--only-successes", "no", "--yes")
    answer("import", table(f"No.;Mother;Father;Date\n24-01;{COC};{DAS};2024-05-01\n"), *arguments)
    friends = table(FRIENDS, "friend.csv")
    assert answer("import", friends, *arguments, "--from", "N.N.")["crosses"] == 1
    assert answer("import", friends, *arguments, "--from", "N.N.")["same"] == 1
    found, _ = crosses(folder)
    assert {number: cross.grower for number, cross in found.items()} == {"24-01": None, "N.N. 24-01": "N.N."}


def test_a_friends_whole_book_comes_in_under_the_friends_name(answer, run, new, own):
    run("export", "book.zip", "--collection", own)
    folder = new()
    done = answer("import", "book.zip", "--collection", folder, "--from", "N.N.")
    assert (done["crosses"] > 10, done["faults"]) == (True, [])
    again = answer("import", "book.zip", "--collection", folder, "--from", "N.N.")
    assert (again["crosses"], again["same"]) == (0, done["crosses"])
    found, plants = crosses(folder)
    assert all(number.startswith("N.N. ") for number in (*found, *plants))
    assert all(cross.grower for cross in found.values())


def test_a_month_is_shown_as_a_month_and_comes_back_from_the_summary(run, answer, new, table):
    folder = new()
    arguments = ("--only-successes", "no", "--yes")
    run("plant", "coc-1", "--new", "--as", COC, "--collection", folder)
    file = table(f"No.;Mother;Father;Date;Flowers\n24-01;coc-1;{DAS};March 2024;2\n")
    run("import", file, "--collection", folder, *arguments)
    for command in (("observe", "24-01"), ("plant", "coc-1"), ("history", "24-01")):
        assert "March 2024" in run(*command, "--collection", folder).stdout
    run("export", "--crosses", "summary.csv", "--collection", folder)
    other = new("other")
    answer("import", "summary.csv", "--collection", other, "--yes")
    assert crosses(other)[0]["24-01"].date_words == "March 2024"


def test_a_friends_crosses_are_worded_as_theirs_and_not_looked_after(run, answer, new, table):
    folder = new()
    run("plant", "coc-1", "--new", "--as", COC, "--collection", folder)
    own = table(f"No.;Mother;Father;Date;Flowers;Seedlings\n24-01;coc-1;{DAS};2024-05-01;2;0\n")
    arguments = ("--collection", folder, "--only-successes", "no", "--yes")
    run("import", own, *arguments)
    before = answer("ask", COC, DAS, "--collection", folder)
    assert "From 1 finished crosses of yours," in before["basis"]["words"].replace("cross of", "crosses of")
    rows = f"24-01;{COC};{DAS};das-1;2024-04-03;2;5\n25-02;{COC};{DAS};das-1;2026-05-30;2;\n"
    friends = table(f"No.;Mother;Father;Pollen plant;Date;Flowers;Seedlings\n{rows}", "friend.csv")
    run("import", friends, *arguments, "--from", "N.N.")
    after = answer("ask", COC, DAS, "--collection", folder)
    assert {one["number"]: one["friend"] for one in after["pairing"]["past"]} == {
        "24-01": None, "N.N. 24-01": "N.N.", "N.N. 25-02": "N.N.",
    }  # fmt: skip
    assert "of yours and of friends, whose count half" in after["basis"]["words"]
    told = " ".join(run("ask", COC, DAS, "--collection", folder, columns=160).stdout.split())
    assert "You made this cross once, and it failed. N.N. made it once: 1 took." in told
    assert "N.N." not in run("due", "--on", "2026-06-10", "--collection", folder).stdout
    assert "N.N." not in run("tonight", "--on", "2026-04-03", "--collection", folder).stdout


def test_what_the_summary_says_goes_in_again_in_another_book(run, answer, new, own):
    run("export", "--crosses", "summary.csv", "--collection", own)
    sent, folder = crosses(own)[0], new()
    done = answer("import", "summary.csv", "--collection", folder, "--yes")
    assert (done["crosses"], done["faults"]) == (len(sent), [])
    back = crosses(folder)[0]
    for number, cross in sent.items():
        differs = {item.name for item in fields(cross) if getattr(cross, item.name) != getattr(back[number], item.name)}
        assert differs <= {"row", "recorded_at", "source"}, number
    assert answer("import", "summary.csv", "--collection", folder, "--yes")["same"] == len(sent)
