"""The pages of a book: read as they stand, added to in transactions, never overwritten, and written anew elsewhere."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import UTC, datetime
from itertools import chain
from typing import Any, TypeVar

from crosscompat.book.record_fields import admissible, admit, value_types
from crosscompat.book.records import KINDS, Record
from crosscompat.book.store.database import Connection
from crosscompat.book.store.seal import digest_of, first_altered
from crosscompat.book.store.tables import MARKS, NAMES, Change, from_sql, to_sql
from crosscompat.ground.errors import Busy, WrongUse
from crosscompat.ground.wording import say

R = TypeVar("R", bound=Record)
_FEW = 500


@dataclass(frozen=True, slots=True)
class Version:
    """A record as some change wrote it, and the change that replaced it or took it back, if any did."""

    record: Record
    made_in: int
    replaced_in: int | None


class Reading:
    """The book at one moment."""

    def __init__(self, connection: Connection) -> None:
        self.connection = connection

    def current(self, kind: type[R], **where: object) -> tuple[R, ...]:
        """Return the records of a kind as they stand, in the order in which they were first written.

        ``where`` are fields and what they must be: a value, a tuple of values, or None for blank.
        """
        names = [item.name for item in fields(kind)]
        rows = self.columns(kind, *names, in_order=True, **where)
        return tuple(kind(**dict(zip(names, row, strict=True))) for row in rows)

    def columns(self, kind: type[R], *names: str, in_order: bool = False, **where: object) -> Sequence[tuple[Any, ...]]:
        """Return some fields of the records as they stand, in no order unless asked: for many, faster than records."""
        types = value_types(kind)
        if unknown := where.keys() - types:
            raise KeyError(*sorted(unknown))
        conditions, values = self._narrowed({"replaced_in": None, **where})
        joined, order = ("JOIN records AS r ON r.id = t.id ", " ORDER BY r.place") if in_order else ("", "")
        query = f"SELECT {_listed(names)} FROM {NAMES[kind]} AS t {joined}WHERE {conditions}{order}"  # noqa: S608 - ours
        return self._read(query, values, [types[name] for name in names])

    def ever(self, kind: type[R], name: str) -> frozenset[Any]:
        """Return every value that a field was ever given, in records that were corrected or taken back too."""
        query = f'SELECT DISTINCT "{name}" FROM {NAMES[kind]} WHERE "{name}" IS NOT NULL'  # noqa: S608 - ours
        return frozenset(value for (value,) in self._read(query, (), [value_types(kind)[name]]))

    def find(self, kind: type[R], **where: object) -> R | None:
        """Return the first such record, or None."""
        found = self.current(kind, **where)
        return found[0] if found else None

    def times(self, kind: type[R], field: str) -> Mapping[str, datetime]:
        """Return when the latest of the standing records that point to each record was written down.

        What was imported was written down elsewhere, at a time nobody knows, and is left out.
        """
        query = (
            f'SELECT t."{field}", max(c.at) FROM {NAMES[kind]} AS t JOIN changes AS c ON c.id = t.made_in '  # noqa: S608 - ours
            f'WHERE t.replaced_in IS NULL AND NOT c.imported GROUP BY t."{field}"'
        )
        return dict(self._read(query, (), [str, datetime]))

    def kind_of(self, record: str) -> type[Record] | None:
        """Return what kind of record has an identifier."""
        row = self.connection.execute("SELECT kind FROM records WHERE id = ?", (record,)).fetchone()
        return None if row is None else KINDS[row[0]]

    def changes(self, ids: Iterable[int] | None = None) -> tuple[Change, ...]:
        """Return the changes, oldest first; all, or those of some numbers."""
        conditions, values = self._narrowed({} if ids is None else {"id": tuple(ids)})
        types = value_types(Change)
        query = f"SELECT {_listed(types)} FROM changes AS t WHERE {conditions} ORDER BY id"  # noqa: S608 - ours
        return tuple(Change(*row) for row in self._read(query, values, list(types.values())))

    def last_change(self) -> int | None:
        """Return the number of the latest change, None in an empty book."""
        number: int | None = self.connection.execute("SELECT max(id) FROM changes").fetchone()[0]
        return number

    def versions(
        self,
        kind: type[R],
        *,
        changes: Collection[int] | None = None,
        ids: Collection[str] | None = None,
        **where: object,
    ) -> tuple[Version, ...]:
        """Return records of a kind as they were written over time.

        Only what some ``changes`` wrote or replaced, and the records of some ``ids``; ``where`` as for `current`.
        """
        conditions, values = self._narrowed(where if ids is None else {"id": tuple(ids), **where})
        if changes is not None:
            made, replaced = (self._narrowed({mark: tuple(changes)}) for mark in MARKS)
            conditions, values = f"{conditions} AND ({made[0]} OR {replaced[0]})", [*values, *made[1], *replaced[1]]
        types = value_types(kind)
        query = (
            f"SELECT {_listed([*types, *MARKS])} FROM {NAMES[kind]} AS t JOIN records AS r ON r.id = t.id "  # noqa: S608 - ours
            f"WHERE {conditions} ORDER BY r.place, t.made_in"
        )
        rows = self._read(query, values, [*types.values(), int, int])
        return tuple(Version(kind(**dict(zip(types, row[:-2], strict=True))), *row[-2:]) for row in rows)

    def touched(self, change: int) -> int:
        """Return how many records a change wrote, replaced or took back."""
        return len({one.record.id for kind in KINDS.values() for one in self.versions(kind, changes=[change])})

    def ids(self) -> list[str]:
        """Return the identifiers of all records that ever were."""
        return [one for (one,) in self.connection.execute("SELECT id FROM records")]

    def _read(self, query: str, values: Sequence[object], types: Sequence[type]) -> list[tuple[Any, ...]]:
        """Return the rows of a query whose columns hold values of some types, or raise `ValueError`."""
        rows: list[tuple[Any, ...]] = self.connection.execute(query, values).fetchall()
        made = [from_sql(kind, self.connection.dialect) for kind in types]
        if not rows or not any(made):
            return rows
        columns = [_made(column, make) for column, make in zip(zip(*rows, strict=True), made, strict=True)]
        return list(zip(*columns, strict=True))

    def _narrowed(self, where: Mapping[str, object]) -> tuple[str, list[Any]]:
        """Return conditions on the fields of a table, and the values that stand in them."""
        conditions, values = ["1 = 1"], list[Any]()
        for name, value in where.items():
            if value is None:
                conditions.append(f't."{name}" IS NULL')
                continue
            among = value if isinstance(value, tuple) else (value,)
            conditions.append(f't."{name}" IN ({", ".join("?" * len(among))})' if among else "1 = 0")
            values += [to_sql(one, self.connection.dialect) for one in among]
        return " AND ".join(conditions), values


def _listed(names: Iterable[str]) -> str:
    return ", ".join(f't."{name}"' for name in names)


def _made(column: Sequence[Any], make: Callable[[Any], Any] | None) -> Sequence[Any]:
    try:
        return column if make is None else [None if value is None else make(value) for value in column]
    except TypeError as error:  # what was altered may be a number in the place of a date
        raise ValueError(str(error)) from error


class Writing(Reading):
    """A transaction that writes; its change is noted with the first thing written."""

    def __init__(
        self, connection: Connection, what: str, who: str | None, uid: str, begin: Callable[[Connection], None]
    ) -> None:
        super().__init__(connection)
        self.what, self.who, self.uid = what, who, uid
        self.undoes: int | None = None
        self.imported = False
        self._begin = begin
        self._change: int | None = None

    @property
    def change(self) -> int | None:
        """The number of this change; None as long as nothing was written."""
        return self._change

    def _noted(self) -> int:
        """Return the number of this change, which is noted now if nothing was written before."""
        if self._change is None:
            self._begin(self.connection)
            if not admissible(f"{self.who}{self.what}"):
                raise WrongUse(say("store.who", who=ascii(self.who)))
            at = to_sql(datetime.now(UTC), self.connection.dialect)
            query = (
                "INSERT INTO changes (at, who, what, undoes, imported, uid, digest) "
                "VALUES (?, ?, ?, ?, ?, ?, '') RETURNING id"
            )
            noted = self.connection.execute(query, (at, self.who, self.what, self.undoes, self.imported, self.uid))
            self._change = int(noted.fetchone()[0])
        return self._change

    def seal(self) -> None:
        """Note the digest of this change, after which nothing more is written in it."""
        if self._change is not None:
            digest = digest_of(self.connection.execute, self._change)
            self.connection.execute("UPDATE changes SET digest = ? WHERE id = ?", (digest, self._change))

    def add(self, *records: Record) -> None:
        """Write new records, which may point to each other."""
        groups = list(_by_kind(records))
        for kind, group in groups:
            self._noted()
            _insert(self.connection, "records", ("id", "kind"), [(record.id, NAMES[kind]) for record in group])
        for kind, group in groups:
            self._write(kind, group)

    def replace(self, *records: Record) -> None:
        """Write corrections in the place of the records of their identifiers, which are kept.

        Raises `Busy` if somebody else has replaced one meanwhile, or taken it back.
        """
        for kind, group in _by_kind(records):
            self._mark(NAMES[kind], [record.id for record in group])
            self._write(kind, group)

    def withdraw(self, *records: Record) -> None:
        """Take records back; they stay in the history."""
        for kind, group in _by_kind(records):
            self._mark(NAMES[kind], [record.id for record in group])

    def put_back(self, *records: Record) -> None:
        """Let records stand again that a change had replaced or taken back.

        Raises `WrongUse` if a name or number of theirs has been given to another meanwhile.
        """
        try:
            for kind, group in _by_kind(records):
                self._write(kind, group)
        except self.connection.contradiction:
            raise WrongUse(say("store.undo.taken", number=self.undoes)) from None

    def _write(self, kind: type[Record], records: Sequence[Record]) -> None:
        for record in records:
            admit(record)
        rows = [[*_values(record, self.connection.dialect), self._noted()] for record in records]
        _insert(self.connection, NAMES[kind], (*_names(kind), "made_in"), rows)

    def _mark(self, table: str, ids: Sequence[str]) -> None:
        for start in range(0, len(ids), _FEW):
            conditions, values = self._narrowed({"replaced_in": None, "id": tuple(ids[start : start + _FEW])})
            mark = f"UPDATE {table} AS t SET replaced_in = ? WHERE {conditions}"  # noqa: S608 - a table of ours
            if self.connection.execute(mark, (self._noted(), *values)).rowcount != len(values):
                raise Busy(say("store.changed_meanwhile"))


def _names(kind: type) -> list[str]:
    return [item.name for item in fields(kind)]


def _values(record: Any, dialect: str) -> list[Any]:
    return [to_sql(getattr(record, name), dialect) for name in _names(type(record))]


def _insert(connection: Connection, table: str, names: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    columns, marks = ", ".join(f'"{name}"' for name in names), ", ".join("?" * len(names))
    connection.execute_many(f"INSERT INTO {table} ({columns}) VALUES ({marks})", rows)  # noqa: S608 - a table of ours


def _by_kind(records: Iterable[Record]) -> Iterator[tuple[type[Record], list[Record]]]:
    """Yield the records kind by kind, each kind in the order given, those pointed to first."""
    groups: dict[type[Record], list[Record]] = {}
    for record in records:
        groups.setdefault(type(record), []).append(record)
    for kind in KINDS.values():
        if kind in groups:
            yield kind, groups[kind]


def refuse_filled(page: Reading) -> None:
    """Stop at a book in which something was ever written with a `WrongUse`."""
    if any(page.connection.execute(f"SELECT 1 FROM {name} LIMIT 1").fetchone() for name in ("changes", "records")):  # noqa: S608 - ours
        raise WrongUse(say("store.not_empty"))


def restore_history(
    pen: Writing, changes: Sequence[Change], versions: Mapping[type[Record], Sequence[Version]]
) -> None:
    """Write changes and versions as they were elsewhere; it is no change of its own.

    Nothing must have been written with the pen yet. The changes come oldest first; the versions by kind, those of one
    record together and in the order in which records were first written.

    Raises
    ------
    WrongUse
        If something was ever written in the book, or what is to be written contradicts itself or is not as it was
        sealed.
    """
    refuse_filled(pen)
    for version in chain.from_iterable(versions.values()):
        admit(version.record)
    try:
        _write_history(pen.connection, changes, {kind: some for kind in KINDS.values() if (some := versions.get(kind))})
    except pen.connection.contradiction:
        raise WrongUse(say("store.contradicts")) from None
    altered = first_altered(pen.connection.execute)
    if altered is not None:
        raise WrongUse(say("store.altered_export", number=altered))


def _write_history(
    connection: Connection, changes: Sequence[Change], versions: Mapping[type[Record], Sequence[Version]]
) -> None:
    dialect = connection.dialect
    _insert(connection, "changes", _names(Change), [_values(change, dialect) for change in changes])
    if changes and connection.on_server:  # let the next change get the next number; SQLite does so of itself
        connection.execute("SELECT setval(pg_get_serial_sequence('changes', 'id'), max(id)) FROM changes")
    for kind, written in versions.items():
        ids = dict.fromkeys(version.record.id for version in written)
        _insert(connection, "records", ("id", "kind"), [(one, NAMES[kind]) for one in ids])
    for kind, written in versions.items():
        rows = [[*_values(one.record, dialect), one.made_in, one.replaced_in] for one in written]
        _insert(connection, NAMES[kind], (*_names(kind), *MARKS), rows)
