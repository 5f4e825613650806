"""Whole commands of which one deed on the disk fails: ``python tests/faults/inject.py [--sample N] [COMMAND ...]``.

A library that is loaded before the C library (`inject.c`, made here with ``cc``) counts every write, truncation, sync,
rename, link, unlink, folder and new file under the folder of a case, whoever asks for it: Python, SQLite or NumPy. Then
the command is run anew for each of them, and at that one

- ``kill``: the process is killed before it,
- ``torn``: half of a write is done, and the process killed,
- ``eio``: it fails with an I/O error, once,
- ``enospc``: it, and all after it that needs room, fails with "no space left".

Not covered: writes to mapped memory (the ``-shm`` of a book, which SQLite makes anew), and what a power cut takes that
was written and never synced. After each it is asked whether the book is sound, whether what was there before still is,
whether all or nothing was done, whether the exit code and the sentence tell the truth, and whether the command, said
again, comes to what it comes to undisturbed. The exit code is 1 if any answer is no.
"""

from __future__ import annotations

import argparse
import ctypes
import errno
import hashlib
import importlib
import json
import os
import pkgutil
import random
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass, field, replace
from pathlib import Path

import crosscompat
from crosscompat.book.cross_summary import crosses_of
from crosscompat.book.import_export.whole_book import read_book
from crosscompat.book.numbers_and_names import OURS, read_pattern
from crosscompat.book.store import open_store
from crosscompat.book.store.backup import first_altered_in
from crosscompat.book.store.seal import digest_of
from crosscompat.ground.errors import BadInput, CrosscompatError
from crosscompat.model.saved import read_model

HERE = Path(__file__).parent
_LOADED = "CROSSCOMPAT_FAULT_LIBRARY"
_MODES = {"kill": (1, 0), "torn": (2, 0), "eio": (3, errno.EIO), "enospc": (4, errno.ENOSPC)}
_NO_ROOM_NEEDED = ("sync", "unlink", "truncate", "chmod", "empty")
_KILLED = -signal.SIGKILL
_NOTHING = re.compile(r"Nothing (has been|was)|has not been written")
_NOT_KNOWN = 5
_CHANGE = "CROSSCOMPAT_CHANGE"
NUMBER = read_pattern(OURS).number(2024, 1)
COCCINEUS, DASYACANTHUS = "Echinocereus coccineus", "Echinocereus dasyacanthus"
TABLE = (
    "date,seed_parent,pollen_parent,units,pods_set,seedlings\n"
    "2025-05-01,Echinocereus coccineus,Echinocereus dasyacanthus,5,2,0\n"
    "2025-05-02,Echinocereus dasyacanthus,Echinocereus coccineus,4,3,2\n"
)


@dataclass(frozen=True)
class Command:
    """A command, the collection it starts from, and what it writes.

    ``in_steps`` says that some files may be changed and others not yet. A collection is none without its settings,
    which come last; the forecasts of a model are noted just before it is put in place.
    """

    words: tuple[str, ...]
    start: str
    in_steps: bool = False


COMMANDS = {
    "pollinate": Command(("pollinate", "coc-1", "das-1", "-n", "3", "--on", "2026-05-03"), "kept"),
    "observe": Command(("observe", NUMBER, "--swelling", "2", "--on", "2024-05-20"), "kept"),
    "import": Command(("import", "../my.csv", "--yes"), "kept"),
    "import whole": Command(("import", "../book.zip"), "empty"),
    "undo": Command(("undo", "6"), "kept"),
    "retrain": Command(("retrain",), "kept", in_steps=True),
    "export": Command(("export", "out.zip"), "exported"),
    "export crosses": Command(("export", "--crosses", "out.csv"), "kept"),
    "restore": Command(("restore", "--last", "--anyway"), "kept"),
    "restore damaged": Command(("restore", "--last"), "damaged"),
    "new": Command(("new", ".", "--tree", "../my.nwk"), "none", in_steps=True),
}


def main() -> int:
    """Run the cases and tell what came of them."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("commands", nargs="*", help="all by default")
    parser.add_argument("--sample", type=int, help="so many faults of each command; all by default")
    parser.add_argument("--seed", type=int, default=1, help="of the sample")
    parser.add_argument("--verbose", action="store_true")
    given = parser.parse_args()
    if _LOADED not in os.environ:
        return _again_with_the_library()
    memory = Path("/dev/shm")
    place = Path(tempfile.mkdtemp(dir=memory if memory.is_dir() else None)).resolve()
    warm()
    parent = os.getpid()
    bench = Bench(place)
    wrong = []
    for name in given.commands or COMMANDS:
        wrong += bench.tried(name, given)
    if os.getpid() == parent:
        shutil.rmtree(place)
    for fault in wrong:
        print(fault)  # noqa: T201
    print(f"{bench.cases - len(wrong)} passed, {len(wrong)} failed")  # noqa: T201
    return int(bool(wrong))


def warm() -> None:
    """Load all that a command may load, so that each case need not."""
    for module in pkgutil.walk_packages(crosscompat.__path__, "crosscompat."):
        if not module.name.endswith("__main__"):
            importlib.import_module(module.name)


def _again_with_the_library() -> int:
    with tempfile.TemporaryDirectory() as folder:
        library = f"{folder}/inject.so"
        source = str(HERE / "inject.c")
        subprocess.run(["cc", "-shared", "-fPIC", "-O1", "-o", library, source, "-ldl"], check=True)
        more = {"LD_PRELOAD": library, _LOADED: library, "OPENBLAS_NUM_THREADS": "1", "COLUMNS": "1000"}
        unwanted = {"CROSSCOMPAT_DEBUG", "CROSSCOMPAT_BOOK", _CHANGE}
        environment = {name: value for name, value in os.environ.items() if name not in unwanted} | more
        return subprocess.run([sys.executable, *sys.argv], env=environment, check=False).returncode


@dataclass
class Ended:
    """How a command ended: its exit code, what it said, and what it did on the disk."""

    code: int
    said: str
    deeds: list[str] = field(default_factory=list)


@dataclass
class Bench:
    """A folder with the collections that commands start from, and the number of cases."""

    place: Path
    cases: int = 0

    def __post_init__(self) -> None:
        self.library = ctypes.CDLL(os.environ[_LOADED])
        self.starts = self.place / "starts"
        self.starts.mkdir()
        own = self.starts / "kept" / "own"
        self.outside = {"my.csv": TABLE, "my.nwk": f"('{COCCINEUS}':1,'{DASYACANTHUS}':1);\n"}
        for start in ("none", "empty", "kept", "exported", "damaged"):
            (self.starts / start / "own").mkdir(parents=True)
        for start in ("empty", "kept"):
            self.done(self.starts / start, "new", "own", "--tree", "echinocereus")
        for plant, species in (("coc-1", COCCINEUS), ("das-1", DASYACANTHUS)):
            self.done(own, "plant", plant, species)
        self.done(own, "pollinate", "coc-1", "das-1", "-n", "2", "--on", "2024-05-01")
        self.done(own, "observe", NUMBER, "--swelling", "1", "--dropped", "1", "--on", "2024-05-15")
        self.done(own, "backup")
        self.done(own, "retrain")
        self.done(own, "pollinate", "das-1", "coc-1", "-n", "4", "--on", "2024-05-02")
        self.done(
            own,
            "observe",
            read_pattern(OURS).number(2024, 2),
            "--swelling",
            "4",
            "--dropped",
            "4",
            "--on",
            "2024-05-16",
        )
        (own / "wanted.csv").write_text(f"seed_parent,pollen_parent\n{DASYACANTHUS},{COCCINEUS}\n", encoding="utf-8")
        self.done(own, "export", str(self.place / "book.zip"))
        self._days_ago(own / "book.sqlite")
        for start in ("exported", "damaged"):
            shutil.copytree(own, self.starts / start / "own", dirs_exist_ok=True)
        self.done(self.starts / "exported" / "own", "export", "out.zip")
        self.done(self.starts / "exported" / "own", "plant", "das-3", DASYACANTHUS)
        book = self.starts / "damaged" / "own" / "book.sqlite"
        book.write_bytes(book.read_bytes()[: book.stat().st_size // 2])

    def done(self, folder: Path, *words: str) -> None:
        """Run a command that must end well."""
        ended = self.run(folder, words)
        if ended.code:
            raise SystemExit(f"{words}: {ended.code} {ended.said}")

    def _days_ago(self, book: Path) -> None:
        """Date the changes of a book back and seal it anew, so that the next writing copies it first."""
        with closing(sqlite3.connect(book)) as connection, connection:
            connection.execute("UPDATE changes SET at = '2026-05-20 12:00:00.000000'")
            fetch = connection.execute
            for (number,) in fetch("SELECT id FROM changes ORDER BY id").fetchall():
                digest = digest_of(lambda query: fetch(query).fetchall(), number)
                fetch("UPDATE changes SET digest = ? WHERE id = ?", (digest, number))

    def tried(self, name: str, given: argparse.Namespace) -> Iterator[str]:
        """Run a command with a fault at each of its deeds; yield what is not as it must be."""
        command = COMMANDS[name]
        own = self.case(command)
        before = state_of(own)
        quiet = self.run(own, command.words)
        after = state_of(own)
        if quiet.code or before == after:
            raise SystemExit(f"{name} does nothing: {quiet.code} {quiet.said}")
        told: Counter[str] = Counter()
        wrong = 0
        faults = [(mode, n) for mode in _MODES for n, deed in enumerate(quiet.deeds, 1) if _applies(mode, deed)]
        if given.sample:
            faults = random.Random(f"{given.seed} {name}").sample(faults, min(given.sample, len(faults)))
        for mode, number in faults:
            self.cases += 1
            own = self.case(command)
            ended = self.run(own, command.words, (mode, number))
            fault, how = self.judged(command, own, ended, before, after)
            if mode == "enospc" and ended.code == _NOT_KNOWN:
                fault = f"said not known, though a full disk is read: {ended.said}"
            told[f"{mode}: {how}"] += 1
            deed = quiet.deeds[number - 1].replace(str(self.place), "")
            if fault:
                wrong += 1
                yield f"{name}, {mode} at {number} of {len(quiet.deeds)} ({deed}): {fault}"
            if given.verbose:
                print(name, mode, number, deed, ended.code, how, fault, " ".join(ended.said.split()), sep=" | ")  # noqa: T201
        kinds = Counter(deed.split()[0] for deed in quiet.deeds)
        deeds = ", ".join(f"{n} {kind}" for kind, n in kinds.most_common())
        print(f"{name}: {len(quiet.deeds)} deeds ({deeds}); {sum(told.values())} cases, {wrong} wrong")  # noqa: T201
        for how, n in sorted(told.items()):
            print(f"    {how}: {n}")  # noqa: T201
        sys.stdout.flush()

    def case(self, command: Command) -> Path:
        """Return a fresh copy of the collection that a command starts from, with the files it is given beside it."""
        shutil.rmtree(self.place / "case", ignore_errors=True)
        own = self.place / "case" / "own"
        shutil.copytree(self.starts / command.start / "own", own)
        for name, text in self.outside.items():
            (own.parent / name).write_text(text, encoding="utf-8")
        if (self.place / "book.zip").exists():
            shutil.copyfile(self.place / "book.zip", own.parent / "book.zip")
        return own

    def judged(
        self, command: Command, own: Path, ended: Ended, before: dict[str, str], after: dict[str, str]
    ) -> tuple[str, str]:
        """Return what is wrong with how a command ended, if anything, and how it ended."""
        found = state_of(own)
        how = "done" if found == after else "not done" if found == before else "between"
        told = {0: "said done", _NOT_KNOWN: "said not known", _KILLED: "killed"}.get(ended.code, "said not done")
        faults = list(self._untrue(command, own, ended, found, before, after))
        faults += [
            f"{copy.name} is no sound copy" for copy in own.glob("backups/*.sqlite") if not self._kept(copy, before)
        ]
        if ended.code:
            faults += self._again(command, own, ended, found, after)
        return "; ".join(faults), f"{told}, {how}"

    def _again(
        self, command: Command, own: Path, ended: Ended, found: dict[str, str], after: dict[str, str]
    ) -> Iterator[str]:
        """Say a command again that did not say that it is done, as it advises; it must come to the same.

        Where it was done and killed before it could say so, it may be refused, or note once more what was seen already.
        """
        uid = re.search(rf"{_CHANGE}=(\S+)", ended.said) if ended.code == _NOT_KNOWN else None
        again = self.run(own, command.words, **({_CHANGE: uid[1]} if uid else {}))
        final, unheard = state_of(own), ended.code == _KILLED and found == after
        parts = ["crosses"] if unheard else [*{*final, *after}]
        if any(final.get(part) != after.get(part) for part in parts):
            yield f"said again ({again.code}, {again.said.strip()}) it comes to {_unlike(final, after)}"
        if again.code not in ((0, 1, 2) if unheard else (0,)):
            yield f"said again it ends with {again.code}: {again.said.strip()}"

    def _untrue(
        self,
        command: Command,
        own: Path,
        ended: Ended,
        found: dict[str, str],
        before: dict[str, str],
        after: dict[str, str],
    ) -> Iterator[str]:
        said = " ".join(ended.said.split())
        names = {*found, *before, *after}
        kept = {_book(copy) for copy in own.glob("backups/*set-aside*.sqlite")}
        if "book.sqlite" not in found and before.get("book.sqlite") in kept:
            names.remove("book.sqlite")  # a damaged book is moved aside before another takes its place
        neither = [name for name in names if found.get(name) not in (before.get(name), after.get(name))]
        if neither or (found not in (before, after) and not command.in_steps and "book.sqlite" in names):
            yield f"neither all nor nothing: {_unlike(found, before)}"
        if ended.code == 0 and found != after:
            yield f"said done and is not: {said}"
        if ended.code in (1, 2, 70) or (ended.code < 0 and ended.code != _KILLED):
            yield f"ended with {ended.code}: {said}"
        if found != before and not command.in_steps and _NOTHING.search(said):
            yield f"said that nothing has been done, and something is: {said}"
        if ended.code not in (0, _NOT_KNOWN, _KILLED) and found == after:
            yield f"said not done and is: {said}"
        if ended.code not in (0, _KILLED) and not said:
            yield "said nothing"
        if ended.code == _NOT_KNOWN and _NOTHING.search(said):
            yield f"said it is not known, and that nothing has been done: {said}"

    def _kept(self, copy: Path, before: dict[str, str]) -> bool:
        found = _book(copy)
        return "changes" in found or ("set-aside" in copy.name and found == before.get("book.sqlite"))

    def run(self, folder: Path, words: Sequence[str], fault: tuple[str, int] | None = None, **more: str) -> Ended:
        """Run a command in a process of its own, with a fault at one of its deeds, or have its deeds counted."""
        output, deeds = self.place / "output", self.place / "deeds"
        child = os.fork()
        if not child:
            self._become(folder, words, fault, more, (output, deeds))
        _, status = os.waitpid(child, 0)
        said = output.read_text(encoding="utf-8", errors="replace")
        log = deeds.read_text(encoding="utf-8").splitlines() if deeds.exists() else []
        return Ended(os.waitstatus_to_exitcode(status), said, log)

    def _become(
        self,
        folder: Path,
        words: Sequence[str],
        fault: tuple[str, int] | None,
        more: dict[str, str],
        files: Sequence[Path],
    ) -> None:
        """Go on as the command, in the child; what it says goes to a file."""
        streams = [os.open(file, os.O_WRONLY | os.O_CREAT | os.O_TRUNC) for file in files]
        os.dup2(streams[0], 1)
        os.dup2(streams[0], 2)
        os.chdir(folder)
        os.environ.update(more)
        sys.argv = ["crosscompat", *words]
        mode, error = _MODES[fault[0]] if fault else (0, 0)
        self.library.fault_arm(
            os.fsencode(folder.parent), mode, ctypes.c_long(fault[1] if fault else 0), error, streams[1]
        )
        from crosscompat.__main__ import main as command

        command()  # ends the process as it always does


def _applies(mode: str, deed: str) -> bool:
    """Tell whether a fault can come to a deed: a full disk hinders only what needs room."""
    kind = deed.split(maxsplit=1)[0]
    return kind == "write" if mode == "torn" else mode != "enospc" or kind not in _NO_ROOM_NEEDED


def _unlike(found: dict[str, str], other: dict[str, str]) -> str:
    names = sorted(name for name in {*found, *other} if found.get(name) != other.get(name))
    return ", ".join(f"{name} {found.get(name, 'absent')}, not {other.get(name, 'absent')}" for name in names)


def state_of(own: Path) -> dict[str, str]:
    """Return what a folder holds, each part as a digest or as what is wrong with it; it is looked at in a copy.

    What differs from run to run is left out: identifiers and moments.
    """
    with tempfile.TemporaryDirectory(dir=own.parents[1]) as place:
        copy = shutil.copytree(own, Path(place) / "own")
        found = {}
        for path in sorted(copy.iterdir()):
            if path.name in _READERS:
                found[path.name] = _READERS[path.name](path)
            elif path.is_file() and not path.name.startswith((".", "book.sqlite")):
                found[path.name] = _short(path.read_bytes())
        if "changes" in found.get("book.sqlite", ""):
            found["crosses"] = _crosses(copy / "book.sqlite")
        return found


def _crosses(path: Path) -> str:
    """Return what the crosses of a sound book come to."""
    store = open_store(path)
    with store.reading() as page:
        found = [replace(cross, recorded_at=None) for cross in crosses_of(page)]
    store.close()
    return _short(_UUID.sub("", repr(found)))


def _short(content: object) -> str:
    data = content if isinstance(content, bytes) else json.dumps(content, default=str).encode()
    return hashlib.sha256(data).hexdigest()[:8]


def _book(path: Path) -> str:
    """Return what a book holds: sound by SQLite's own measure and by its seal, or why not."""
    try:
        with closing(sqlite3.connect(path)) as connection:
            sound = (
                connection.execute("PRAGMA integrity_check").fetchall(),
                connection.execute("PRAGMA foreign_key_check").fetchall(),
            )
            if sound != ([("ok",)], []):
                return f"unsound {sound}"
            tables = connection.execute(
                "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
            )
            held = {table: _rows(connection, table) for (table,) in tables.fetchall()}
        altered = first_altered_in(path)
        return f"altered {altered}" if altered else f"{len(held['changes'])} changes {_short(held)}"
    except (sqlite3.Error, CrosscompatError) as error:
        return f"damaged {error}"


_OF_THE_RUN = {"at", "uid", "digest", "recorded_at", "book"}
_UUID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")


def _rows(connection: sqlite3.Connection, table: str) -> list[dict[str, object]]:
    places = dict(connection.execute("SELECT id, place FROM records"))
    order = "place" if table == "records" else "rowid"
    cursor = connection.execute(f'SELECT * FROM "{table}" ORDER BY {order}')
    names = [column[0] for column in cursor.description]
    rows = [dict(zip(names, row, strict=True)) for row in cursor]
    return [{name: places.get(value, value) for name, value in row.items() if name not in _OF_THE_RUN} for row in rows]


def _model(path: Path) -> str:
    try:
        return _short(read_model(path).fingerprint)
    except BadInput as bad:
        return f"damaged {bad}"


def _archive(path: Path) -> str:
    try:
        return _short([*map(str, read_book(path).changes)])
    except BadInput as bad:
        return f"damaged {bad}"


def _settings(path: Path) -> str:
    with suppress(OSError, UnicodeDecodeError):
        return _short(_UUID.sub("", path.read_text(encoding="utf-8")))
    return "damaged"


_READERS = {"book.sqlite": _book, "model.json": _model, "out.zip": _archive, "collection.toml": _settings}


if __name__ == "__main__":
    sys.exit(main())
