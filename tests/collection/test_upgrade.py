from __future__ import annotations

import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.collection.settings import FORMAT, read_settings
from crosscompat.collection.upgrade import set_setting, upgrade

OLD = """# My hedgehogs, begun in the wet spring of 2019.
name = "Hedgehogs"   # ours

# in days
window_days = 400

[trait_kinds]  # as the table says
"2n" = "count"
"""


@pytest.fixture
def written(tmp_path):
    def write(content):
        path = tmp_path / "collection.toml"
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    return write


def comments(text):
    return [line[line.index("#") :].strip() for line in text.splitlines() if "#" in line]


@pytest.mark.parametrize("old", [OLD, f"format = 0\n{OLD}", f"\ufeff{OLD}", OLD.replace("\n", "\r\n"), "", "# nothing"])
def test_an_older_format_is_brought_up_to_date_after_a_backup(written, old):
    path = written(old)
    backup = upgrade(path)
    assert backup.name == "collection.toml.format0.bak"
    assert backup.read_bytes() == old.encode()
    new = path.read_bytes().decode()
    assert comments(new) == comments(old)
    assert tomllib.loads(new) == {**tomllib.loads(old.removeprefix("\ufeff")), "format": FORMAT}
    assert read_settings(path).format == FORMAT


def test_twice_is_once(written):
    path = written(OLD)
    upgrade(path)
    after = path.read_bytes()
    assert upgrade(path) is None
    assert path.read_bytes() == after
    assert len(list(path.parent.iterdir())) == 2


def test_an_older_backup_is_never_written_over(written):
    path = written(OLD)
    first = upgrade(path)
    path.write_text(OLD.replace("400", "500"), encoding="utf-8")
    second = upgrade(path)
    assert first.read_text(encoding="utf-8") == OLD
    assert second != first
    assert "500" in second.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "content",
    [
        f"format = {FORMAT}\n",
        f"format = {FORMAT + 1}\n",
        "format = -1\n",
        "format = false\n",
        'format = "0"\n',
        "format = 0.0\n",
        "format =\n",
        b"name = '\xe9'\n",
    ],
)
def test_what_is_of_today_newer_or_broken_is_left_alone(written, content):
    path = written(content)
    before = path.read_bytes()
    assert upgrade(path) is None
    assert path.read_bytes() == before
    assert list(path.parent.iterdir()) == [path]


PRIORS = "\n[priors.plain.distance]  # from my own crosses\nmean = -2.0\n"


@pytest.mark.parametrize("old", [OLD, f"reference = 3.0  # by hand\n{OLD}", OLD + PRIORS, f"format = 1\n{PRIORS}"])
def test_a_setting_is_written_among_the_others_and_comments_stay(written, old):
    path = written(old)
    set_setting(path, "reference", 5.25)
    new = path.read_text(encoding="utf-8")
    assert comments(new) == comments(old)
    assert tomllib.loads(new) == {**tomllib.loads(old), "reference": 5.25}


def test_what_does_not_change_is_not_written(written):
    path = written("reference = 5.25\n")
    set_setting(path, "reference", 5.25)
    stamp = path.stat().st_ino
    set_setting(path, "reference", 5.25)
    assert path.stat().st_ino == stamp
    set_setting(path, "reference", 5.5)
    assert path.read_text(encoding="utf-8") == "reference = 5.5\n"


@settings(max_examples=30, deadline=None)
@given(st.floats(1e-12, 1e12))
def test_a_number_is_read_back_to_the_last_digit(tmp_path_factory, reference):
    path = tmp_path_factory.mktemp("settings") / "collection.toml"
    path.write_text(OLD, encoding="utf-8")
    set_setting(path, "reference", reference)
    assert read_settings(path).reference == reference
