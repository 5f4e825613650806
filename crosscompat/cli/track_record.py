"""Print what earlier forecasts were worth."""

from __future__ import annotations

from crosscompat.advice.track_record import TrackRecord
from crosscompat.cli.output import line, paragraph
from crosscompat.ground.wording import say

__all__ = ["print_track_record"]


def print_track_record(record: TrackRecord) -> None:
    """Print how the forecasts did, and what came of those of about one size."""
    line(say("ledger.heading"))
    paragraph(" ".join(record.says), indent=2)
    for entry in record.calibration:
        paragraph(entry.says, indent=2, bullet="· ")
    line()
