"""Find what a change wrote or replaced without reading whole tables."""

from alembic import op

revision = "0002"
down_revision = "0001"

_KINDS = (
    *("plants", "determinations", "findings", "flowerings", "pollen_lots"),
    *("crosses", "pollinations", "pollen", "observations"),
    *("seed_lots", "sowings", "emergences", "losses", "proofs", "forecasts"),
)


def upgrade() -> None:
    """Index both marks of every row."""
    for name in _KINDS:
        for column in ("made_in", "replaced_in"):
            op.create_index(f"ix_{name}_{column}", name, [column])
