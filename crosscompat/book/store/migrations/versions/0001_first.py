"""The first tables of the cross book."""

from typing import Any

import sqlalchemy as sa
from alembic import op
from sqlalchemy import Boolean, Column, Date, DateTime, Float, Integer, String, Text, Time

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make every table."""
    _ground()
    _plants()
    _crosses()
    _after_harvest()


def _ground() -> None:
    op.create_table(
        "changes",
        Column("id", Integer, primary_key=True, autoincrement=True),
        Column("at", DateTime, nullable=False),
        Column("who", Text),
        Column("what", Text, nullable=False),
        Column("undoes", Integer),
        Column("imported", Boolean, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_changes"),
        sa.ForeignKeyConstraint(["undoes"], ["changes.id"], name="fk_changes_undoes"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "records",
        Column("place", Integer, primary_key=True, autoincrement=True),
        Column("id", String(36), nullable=False),
        Column("kind", String(36), nullable=False),
        sa.PrimaryKeyConstraint("place", name="pk_records"),
        sa.UniqueConstraint("id", name="uq_records_id"),
        sqlite_autoincrement=True,
    )


def _kind(name: str, *columns: Column[Any], points: tuple[str, ...] = (), unique: tuple[str, ...] = ()) -> None:
    """Make the table of a kind of record."""
    pointing = dict.fromkeys(("id", *points), "records.id")
    noted = dict.fromkeys(("made_in", "replaced_in"), "changes.id")
    op.create_table(
        name,
        Column("id", String(36), nullable=False),
        *columns,
        Column("made_in", Integer, autoincrement=False, nullable=False),
        Column("replaced_in", Integer),
        sa.PrimaryKeyConstraint("id", "made_in", name=f"pk_{name}"),
        *(
            sa.ForeignKeyConstraint([column], [there], name=f"fk_{name}_{column}")
            for column, there in (pointing | noted).items()
        ),
    )
    standing = sa.text("replaced_in IS NULL")
    for column in ("id", *unique, *points):
        op.create_index(
            f"ix_{name}_{column}_standing",
            name,
            [column],
            unique=column not in points,
            sqlite_where=standing,
            postgresql_where=standing,
        )


def _plants() -> None:
    _kind(
        "plants",
        Column("name", Text, nullable=False),
        Column("clone", Text),
        Column("accession", Text),
        Column("field_number", Text),
        Column("source", Text),
        Column("papers", Text),
        Column("received_as", Text),
        Column("parents", Text),
        Column("cross", String(36)),
        Column("owner", Text),
        Column("place", Text),
        Column("acquired", Date),
        Column("died", Date),
        Column("note", Text),
        points=("cross",),
        unique=("name",),
    )
    _kind(
        "determinations",
        Column("plant", String(36), nullable=False),
        Column("name", Text, nullable=False),
        Column("date", Date),
        Column("by", Text),
        Column("note", Text),
        points=("plant",),
    )
    _kind(
        "findings",
        Column("plant", String(36), nullable=False),
        Column("what", Text, nullable=False),
        Column("value", Text, nullable=False),
        Column("date", Date),
        Column("how", Text),
        Column("by", Text),
        Column("note", Text),
        points=("plant",),
    )
    _kind(
        "flowerings",
        Column("plant", String(36), nullable=False),
        Column("date", Date, nullable=False),
        Column("open_flowers", Integer),
        Column("note", Text),
        points=("plant",),
    )
    _kind(
        "pollen_lots",
        Column("name", Text, nullable=False),
        Column("plant", String(36)),
        Column("species", Text),
        Column("collected", Date),
        Column("dried", Boolean),
        Column("kept", Text),
        Column("tested", Date),
        Column("test_result", Text),
        Column("note", Text),
        points=("plant",),
    )


def _crosses() -> None:
    _kind(
        "crosses",
        Column("number", Text),
        Column("kind", Text, nullable=False),
        Column("seed_plant", String(36)),
        Column("seed_parent", Text),
        Column("aim", Text),
        Column("wanted", Integer),
        Column("only_successes", Boolean),
        Column("closed_stage", Text),
        Column("doubt", Text),
        Column("source", Text),
        Column("recorded_at", DateTime),
        Column("note", Text),
        points=("seed_plant",),
        unique=("number",),
    )
    _kind(
        "pollinations",
        Column("cross", String(36), nullable=False),
        Column("date", Date, nullable=False),
        Column("hour", Time),
        Column("who", Text),
        Column("marker", Text),
        Column("unit_kind", Text),
        Column("units", Integer),
        Column("count_how", Text),
        Column("flowers", Text, nullable=False),
        Column("pollen_kind", Text),
        Column("technique", Text),
        Column("stamens_removed", Boolean),
        Column("isolation", Text),
        Column("temperature", Float(53)),
        Column("humidity", Float(53)),
        Column("overruled", Text),
        Column("note", Text),
        points=("cross",),
    )
    _kind(
        "pollen",
        Column("pollination", String(36), nullable=False),
        Column("plant", String(36)),
        Column("name", Text),
        Column("lot", String(36)),
        Column("certainty", Text),
        points=("pollination", "plant", "lot"),
    )
    _kind(
        "observations",
        Column("cross", String(36), nullable=False),
        Column("date", Date),
        Column("what", Text, nullable=False),
        Column("count", Integer, nullable=False),
        Column("by", Text),
        Column("note", Text),
        points=("cross",),
    )


def _after_harvest() -> None:
    _kind(
        "seed_lots",
        Column("cross", String(36), nullable=False),
        Column("name", Text),
        Column("date", Date),
        Column("pods", Integer),
        Column("seeds", Integer),
        Column("filled", Integer),
        Column("weight", Float(53)),
        Column("left", Integer),
        Column("note", Text),
        points=("cross",),
    )
    _kind(
        "sowings",
        Column("cross", String(36), nullable=False),
        Column("lot", String(36)),
        Column("date", Date),
        Column("seeds", Integer),
        Column("treatment", Text),
        Column("place", Text),
        Column("note", Text),
        points=("cross", "lot"),
    )
    _kind(
        "emergences",
        Column("sowing", String(36), nullable=False),
        Column("date", Date),
        Column("up", Integer),
        Column("highest", Integer),
        Column("note", Text),
        points=("sowing",),
    )
    _kind(
        "losses",
        Column("cross", String(36), nullable=False),
        Column("sowing", String(36)),
        Column("date", Date),
        Column("cause", Text, nullable=False),
        Column("against", Text, nullable=False),
        Column("note", Text),
        points=("cross", "sowing"),
    )
    _kind(
        "proofs",
        Column("cross", String(36), nullable=False),
        Column("plant", String(36)),
        Column("date", Date),
        Column("verdict", Text, nullable=False),
        Column("by_what", Text),
        Column("note", Text),
        points=("cross", "plant"),
    )
    _kind(
        "forecasts",
        Column("date", Date, nullable=False),
        Column("model", Text, nullable=False),
        Column("seed_parent", Text, nullable=False),
        Column("pollen_parent", Text, nullable=False),
        Column("flowers", Integer, nullable=False),
        Column("mean", Float(53), nullable=False),
        Column("low", Float(53), nullable=False),
        Column("high", Float(53), nullable=False),
        Column("cross", Text),
        Column("seed_plant", Text),
        Column("pollen_plant", Text),
    )
