"""What the options of ``observe`` say, as one thing seen."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from crosscompat.book.entry.enter_observation import Harvest, Seen, Sown
from crosscompat.cli.dates_and_author import blanks_told
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

__all__ = ["seen_of"]


def seen_of(
    seen: Mapping[str, Any],
    taken: Mapping[str, Any],
    sown: Mapping[str, Any],
    *,
    tray: str | None,
    harvest: bool,
    only_good: bool,
) -> Seen:
    """Put the options together.

    Raises
    ------
    WrongUse
        If an option is blank, or stands without the one that it belongs to.

    Examples
    --------
    >>> seen_of({"ripe": 2}, {"filled": 30}, {}, tray=None, harvest=True, only_good=True).harvest.filled
    30
    """
    into = tray if sown.get("seeds") is not None else None
    alone = {
        "harvest": not harvest and (only_good or _said(taken)),
        "sown": sown.get("seeds") is None and _said(sown),
        "lost": seen.get("lost") is None and seen.get("against") is not None,
        "proof": seen.get("proof") is None and seen.get("by_what") is not None,
        "tray": tray is not None and into is None and not any(seen.get(key) is not None for key in _OF_A_TRAY),
    }
    wrong = [say(f"observe.needs.{key}") for key, is_wrong in alone.items() if is_wrong]
    wrong += [blank] if (blank := blanks_told(_by_option(seen, taken, sown) | {"--tray": tray})) else []
    if wrong:
        raise WrongUse(" ".join(wrong))
    return Seen(
        **seen,
        harvest=Harvest(**taken, only_good=only_good) if harvest else None,
        sown=Sown(**sown, tray=into) if sown.get("seeds") is not None else None,
        tray=tray,
    )


def _by_option(seen: Mapping[str, Any], taken: Mapping[str, Any], sown: Mapping[str, Any]) -> dict[str, Any]:
    named = {f"--{name.replace('_', '-')}": value for name, value in {**seen, **taken}.items()}
    return named | {"--from": sown.get("lot"), "--treatment": sown.get("treatment")}


_OF_A_TRAY = ("up", "highest", "lost")


def _said(options: Mapping[str, Any]) -> bool:
    return any(value is not None for value in options.values())
