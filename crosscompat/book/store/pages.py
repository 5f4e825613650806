"""The pages of a book: read as they stand, added to in transactions, never overwritten, and written anew elsewhere."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields
from datetime import UTC, datetime
from itertools import chain
from typing import Any, TypeVar, cast

from sqlalchemy import Connection, Select, Table, func, insert, select, update
from sqlalchemy.exc import IntegrityError

from crosscompat.book.record_fields import admissible, admit
from crosscompat.book.records import KINDS, Record, new_id
from crosscompat.book.store.seal import digest_of, fetching, first_altered
from crosscompat.book.store.tables import CHANGES, RECORDS, TABLES
from crosscompat.ground.errors import Busy, WrongUse
from crosscompat.ground.wording import say

R = TypeVar("R", bound=Record)
_FEW = 500


@dataclass(frozen=True, slots=True)
class Change:
    """One transaction: when, by whom and what, and which change it took back, if it did.

    Its writer gave it the ``uid``, which is like no other; `seal` says what the ``digest`` is.
    """

    id: int
    at: datetime
    who: str | None
    what: str
    undoes: int | None = None
    imported: bool = False
    uid: str = field(default_factory=new_id)
    digest: str = ""


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
        table = TABLES[kind]
        query = _narrowed(select(*(table.c[name] for name in names)), table, {"replaced_in": None, **where})
        if in_order:
            query = query.join(RECORDS, RECORDS.c.id == table.c.id).order_by(RECORDS.c.place)
        return cast("Sequence[tuple[Any, ...]]", self.connection.execute(query).all())

    def ever(self, kind: type[R], name: str) -> frozenset[Any]:
        """Return every value that a field was ever given, in records that were corrected or taken back too."""
        column = TABLES[kind].c[name]
        return frozenset(self.connection.execute(select(column).where(column.is_not(None)).distinct()).scalars())

    def find(self, kind: type[R], **where: object) -> R | None:
        """Return the first such record, or None."""
        found = self.current(kind, **where)
        return found[0] if found else None

    def times(self, kind: type[R], field: str) -> Mapping[str, datetime]:
        """Return when the latest of the standing records that point to each record was written down.

        What was imported was written down elsewhere, at a time nobody knows, and is left out.
        """
        table = TABLES[kind]
        query = (
            select(table.c[field], func.max(CHANGES.c.at))
            .join(CHANGES, CHANGES.c.id == table.c.made_in)
            .where(table.c.replaced_in.is_(None), ~CHANGES.c.imported)
            .group_by(table.c[field])
        )
        return {row[0]: row[1] for row in self.connection.execute(query)}

    def kind_of(self, record: str) -> type[Record] | None:
        """Return what kind of record has an identifier."""
        found = self.connection.execute(select(RECORDS.c.kind).where(RECORDS.c.id == record)).scalar()
        return None if found is None else KINDS[found]

    def changes(self, ids: Iterable[int] | None = None) -> tuple[Change, ...]:
        """Return the changes, oldest first; all, or those of some numbers."""
        query = select(CHANGES).order_by(CHANGES.c.id)
        if ids is not None:
            query = query.where(CHANGES.c.id.in_(list(ids)))
        return tuple(Change(*row) for row in self.connection.execute(query))

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
        table = TABLES[kind]
        query = select(table).join(RECORDS, RECORDS.c.id == table.c.id).order_by(RECORDS.c.place, table.c.made_in)
        if changes is not None:
            query = query.where(table.c.made_in.in_(changes) | table.c.replaced_in.in_(changes))
        if ids is not None:
            query = query.where(table.c.id.in_(ids))
        names = [item.name for item in fields(kind)]
        rows = self.connection.execute(_narrowed(query, table, where)).mappings()
        return tuple(
            Version(kind(**{name: row[name] for name in names}), row["made_in"], row["replaced_in"]) for row in rows
        )

    def touched(self, change: int) -> int:
        """Return how many records a change wrote, replaced or took back."""
        return len({one.record.id for kind in KINDS.values() for one in self.versions(kind, changes=[change])})

    def ids(self) -> list[str]:
        """Return the identifiers of all records that ever were."""
        return list(self.connection.execute(select(RECORDS.c.id)).scalars())


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
            noted = {"at": datetime.now(UTC), "who": self.who, "what": self.what}
            more = {"undoes": self.undoes, "imported": self.imported, "uid": self.uid, "digest": ""}
            result = self.connection.execute(insert(CHANGES).values(**noted, **more).returning(CHANGES.c.id))
            self._change = int(result.scalar_one())
        return self._change

    def seal(self) -> None:
        """Note the digest of this change, after which nothing more is written in it."""
        if self._change is not None:
            digest = digest_of(fetching(self.connection), self._change)
            self.connection.execute(update(CHANGES).where(CHANGES.c.id == self._change).values(digest=digest))

    def add(self, *records: Record) -> None:
        """Write new records, which may point to each other."""
        groups = list(_by_kind(records))
        for kind, group in groups:
            self._noted()
            table = TABLES[kind].name
            self.connection.execute(insert(RECORDS), [{"id": record.id, "kind": table} for record in group])
        for kind, group in groups:
            self._write(kind, group)

    def replace(self, *records: Record) -> None:
        """Write corrections in the place of the records of their identifiers, which are kept.

        Raises `Busy` if somebody else has replaced one meanwhile, or taken it back.
        """
        for kind, group in _by_kind(records):
            self._mark(TABLES[kind], [record.id for record in group])
            self._write(kind, group)

    def withdraw(self, *records: Record) -> None:
        """Take records back; they stay in the history."""
        for kind, group in _by_kind(records):
            self._mark(TABLES[kind], [record.id for record in group])

    def put_back(self, *records: Record) -> None:
        """Let records stand again that a change had replaced or taken back.

        Raises `WrongUse` if a name or number of theirs has been given to another meanwhile.
        """
        try:
            for kind, group in _by_kind(records):
                self._write(kind, group)
        except IntegrityError:
            raise WrongUse(say("store.undo.taken", number=self.undoes)) from None

    def _write(self, kind: type[Record], records: Sequence[Record]) -> None:
        for record in records:
            admit(record)
        self.connection.execute(insert(TABLES[kind]), [_values(one) | {"made_in": self._noted()} for one in records])

    def _mark(self, table: Table, ids: Sequence[str]) -> None:
        mark = update(table).where(table.c.replaced_in.is_(None)).values(replaced_in=self._noted())
        for start in range(0, len(ids), _FEW):
            portion = ids[start : start + _FEW]
            if self.connection.execute(mark.where(table.c.id.in_(portion))).rowcount != len(portion):
                raise Busy(say("store.changed_meanwhile"))


def _values(record: Record) -> dict[str, Any]:
    return {item.name: getattr(record, item.name) for item in fields(record)}


def _narrowed(query: Select[Any], table: Table, where: Mapping[str, object]) -> Select[Any]:
    for name, value in where.items():
        column = table.c[name]
        query = query.where(column.in_(value) if isinstance(value, tuple) else column == value)
    return query


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
    if any(page.connection.execute(select(table).limit(1)).first() for table in (CHANGES, RECORDS)):
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
    except IntegrityError:
        raise WrongUse(say("store.contradicts")) from None
    altered = first_altered(fetching(pen.connection))
    if altered is not None:
        raise WrongUse(say("store.altered_export", number=altered))


def _write_history(
    connection: Connection, changes: Sequence[Change], versions: Mapping[type[Record], Sequence[Version]]
) -> None:
    if changes:
        connection.execute(insert(CHANGES), [asdict(change) for change in changes])
        if connection.dialect.name == "postgresql":  # let the next change get the next number; SQLite does so of itself
            last = select(func.max(CHANGES.c.id)).scalar_subquery()
            connection.execute(select(func.setval(func.pg_get_serial_sequence("changes", "id"), last)))
    for kind, written in versions.items():
        ids = dict.fromkeys(version.record.id for version in written)
        connection.execute(insert(RECORDS), [{"id": one, "kind": TABLES[kind].name} for one in ids])
    for kind, written in versions.items():
        marks = [{"made_in": one.made_in, "replaced_in": one.replaced_in} for one in written]
        rows = [_values(one.record) | mark for one, mark in zip(written, marks, strict=True)]
        connection.execute(insert(TABLES[kind]), rows)
