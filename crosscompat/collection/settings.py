"""The settings of a collection, as collection.toml holds them, and where its cross book lies."""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Mapping
from dataclasses import Field, dataclass, field, fields
from datetime import date
from math import inf
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote

from crosscompat.book.numbers_and_names import pattern_fault
from crosscompat.book.record_fields import choices, one_of, value_types
from crosscompat.ground.csv_cells import raise_faults
from crosscompat.ground.dates import DEFAULT_START
from crosscompat.ground.errors import BadInput, Fault, Place, WrongUse, worded
from crosscompat.ground.wording import say
from crosscompat.stages import GROUPS, USUAL_DAYS
from crosscompat.traits import KINDS

if TYPE_CHECKING:
    from crosscompat.book.store import Store


FILE_NAME = "collection.toml"
FORMAT = 1

_GROUPS, _HEMISPHERES = GROUPS, ("north", "south")
_LEAP_YEAR = 2024


class NewerFormat(BadInput):
    """A collection that a newer version has written: nothing in it can be judged by this one."""


@dataclass(frozen=True, slots=True)
class Settings:
    """What a grower has settled for one collection.

    ``tree``, ``traits`` and ``synonyms`` are files in the folder, or the name of a tree that comes along; a tree may be
    a ``.csv`` table of distances too. ``tree_unit`` is what its lengths are (``unit`` counts every branch as 1),
    ``tree_index`` which tree of several, from 0, ``tree_sample`` a file with many trees of which it is the summary.
    ``trait_kinds`` declares columns of the traits; with ``place_missing`` species that only the traits have are placed
    by their section or genus. The ``group`` says which cautions apply; seasons start on ``season_start``, ``MM-DD``.

    Days from the brush: ``window_days`` to the last seedling, ``set_days``, ``hold_days`` and ``fill_days`` until those
    stages can be judged. A ripe pod is taken to hold ``seeds_per_pod`` before any was counted, and never more than
    ``most_seeds``; what is None is as the group usually has it. A seedling that may be the mother's own counts
    ``doubtful_weight``, from 0 to 1.

    The ``book`` is a file in the folder or the URL of a shared database, ``book_id`` the identity of the one in which
    alone is written, any if empty; ``cross_number`` is a pattern as `read_pattern` has it, ours if empty. Where the
    outcomes are ``invented``, every screen says so. ``priors`` are what the grower believes otherwise than what is
    published, in the shape of that table.
    """

    format: int = FORMAT
    name: str = ""
    tree: str = "tree.nwk"
    tree_unit: str | None = None
    tree_index: int | None = None
    traits: str | None = None
    trait_kinds: Mapping[str, str] = field(default_factory=dict)
    synonyms: str | None = None
    tree_sample: str | None = None
    place_missing: bool = True
    group: str = one_of(_GROUPS, "")
    fruit_word: str = "fruit"
    hemisphere: str = one_of(_HEMISPHERES, "north")
    season_start: str = DEFAULT_START["north"]
    window_days: int = 365
    set_days: int | None = None
    hold_days: int | None = None
    fill_days: int | None = None
    seeds_per_pod: float | None = None
    most_seeds: int | None = None
    doubtful_weight: float = 0.5
    invented: bool = False
    book: str = "book.sqlite"
    book_id: str = ""
    cross_number: str = ""
    priors: Mapping[str, Any] = field(default_factory=dict)

    @property
    def flower_word(self) -> str:
        """What the group calls its flowers."""
        return "cyathium" if self.group == "spurge" else "flower"

    @property
    def windows(self) -> Mapping[str, float]:
        """Days from the brush until each stage is closed; none takes longer than the whole.

        Examples
        --------
        >>> dict(Settings(group="spurge", hold_days=90).windows)
        {'set': 30.0, 'hold': 90.0, 'fill': 120.0, 'germinate': 365.0}
        """
        *earlier, (last, _) = USUAL_DAYS[self.group].items()
        days = {stage: float(getattr(self, f"{stage}_days", None) or usual) for stage, usual in earlier}
        return {stage: min(d, float(self.window_days)) for stage, d in {**days, last: inf}.items()}

    @property
    def pod(self) -> tuple[float, int | None]:
        """Seeds expected in a ripe pod before any was counted, and the most it can hold.

        Examples
        --------
        >>> Settings(group="spurge").pod, Settings(group="spurge", most_seeds=5).pod, Settings().pod
        ((2.0, 3), (2.0, 5), (20.0, None))
        """
        usual = _SEEDS[self.group]
        return float(self.seeds_per_pod or usual[0]), self.most_seeds or usual[1]


# A spurge capsule has three cells with one ovule each (Phytotaxa 181); the other seeds per pod are judgements.
_SEEDS: Mapping[str, tuple[float, int | None]] = {"": (20.0, None), "cactus": (100.0, None), "spurge": (2.0, 3)}


def read_settings(path: Path) -> Settings:
    """Read ``collection.toml``; a setting that is not given has its default.

    A `BadInput` has every fault of the file; ``NewerFormat`` says that a newer version has written it.
    """
    table = _parsed(path)
    given = table.get("format", FORMAT)
    if isinstance(given, int) and given > FORMAT:
        raise NewerFormat([worded("settings", "newer", Place(path.name, column="format"), got=given, known=FORMAT)])
    raise_faults([fault for key, value in table.items() for fault in _faults(path.name, key, value)])
    if "hemisphere" in table:
        table = {"season_start": DEFAULT_START[table["hemisphere"]], **table}
    settings = Settings(**table)
    raise_faults([fault for key in _PLACES for fault in _outside(path, key, getattr(settings, key) or "")])
    return settings


_PLACES = ("tree", "traits", "synonyms", "tree_sample", "book")
OUTSIDE_VARIABLE = "CROSSCOMPAT_OUTSIDE"
"""The environment's variable that names the folders of collections whose settings may lead out of them."""


def _outside(path: Path, key: str, value: str) -> list[Fault]:
    """Refuse what leads out of a collection, which may be a stranger's, unless its user has said that it may."""
    folder = path.parent.resolve()
    trusted = [Path(one).resolve() for one in os.environ.get(OUTSIDE_VARIABLE, "").split(os.pathsep) if one]
    if folder in trusted or (key == "book" and os.environ.get(BOOK_VARIABLE)):
        return []
    if "://" not in value and (folder / value).resolve().is_relative_to(folder):
        return []
    place = Place(path.name, column=key)
    return [worded("settings", "outside", place, folder=str(folder), variable=OUTSIDE_VARIABLE)]


def _parsed(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_bytes().decode("utf-8-sig"))
    except UnicodeDecodeError:
        raise BadInput([Fault(Place(path.name), say("settings.not_utf8"))]) from None
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        found = re.search(r"\(at line (\d+), column (\d+)\)", str(error))
        line, character = (int(found[1]), int(found[2])) if found else (None, None)
        reason = re.sub(r"\s*\(at .*\)$", "", str(error))
        place = Place(path.name, line=line, character=character)
        raise BadInput([Fault(place, say("settings.not_toml", reason=reason), say("settings.toml_advice"))]) from None


def _faults(file: str, key: str, value: Any) -> list[Fault]:
    """Say what is wrong with one setting."""
    place = Place(file, column=key)
    known = {item.name: item for item in fields(Settings)}
    if key not in known:
        return [Fault(place, say("settings.unknown", key=key), say("settings.known", keys=", ".join(known)))]
    if key == "priors":
        from crosscompat.model.prior import published  # noqa: PLC0415 - few settings change a prior

        return published().faults(value, file)
    kind: type = dict if key == "trait_kinds" else value_types(Settings)[key]
    fits = isinstance(value, (int, float) if kind is float else kind)
    if not fits or (isinstance(value, bool) and kind is not bool):
        return [Fault(place, say("settings.kind", key=key, kind=say(f"settings.kinds.{kind.__name__}"), got=value))]
    if key == "trait_kinds":
        wrong = [(column, got) for column, got in value.items() if got not in KINDS]
        return [
            Fault(place, say("settings.trait_kind", column=column, kinds=_listed(KINDS), got=got))
            for column, got in wrong
        ]
    what = _wrong_value(known[key], value)
    return [Fault(place, what)] if what else []


def _wrong_value(item: Field[Any], value: Any) -> str | None:
    key, allowed = item.name, choices(item)
    if key == "doubtful_weight":
        return None if 0 < value <= 1 else say("settings.share", key=key, got=value)
    if isinstance(value, int | float) and key != "tree_index" and not isinstance(value, bool):
        return None if 0 < value < inf else say("settings.positive", key=key, got=value)
    if allowed and value not in allowed:
        return say("settings.choice", key=key, choices=_listed(allowed), got=value)
    if key == "season_start" and not _is_month_and_day(value):
        return say("settings.season_start", got=value)
    if key == "cross_number" and (fault := pattern_fault(value)):
        return say("settings.cross_number", got=value, fault=fault)
    return None


def _listed(choices: tuple[str, ...]) -> str:
    return ", ".join(f'"{choice}"' for choice in choices)


def _is_month_and_day(text: str) -> bool:
    try:
        return date.fromisoformat(f"{_LEAP_YEAR}-{text}").isoformat()[5:] == text
    except ValueError:
        return False


_IN_MEMORY = re.compile(r"^sqlite[^:]*:/*(file:/*)?(\?|$)|:memory:|mode=memory")
_NO_FILE = re.compile(r"[@=]|(?<!^[A-Za-z]):")
"""What stands in an address and in no file name of a book, but after the letter of a drive."""

BOOK_VARIABLE = "CROSSCOMPAT_BOOK"
"""The environment's variable that names another place, as a URL with a password does not belong in a file."""


def book_place(folder: Path, settings: Settings) -> Path | str:
    """Return the file of a collection's cross book, or the URL of the database that holds it.

    `WrongUse` is raised if it is written as neither, as a server without ``postgresql://`` is, or is of no file at all.
    """
    place = os.environ.get(BOOK_VARIABLE) or settings.book
    if "://" in place:
        if _IN_MEMORY.search(unquote(place)):
            raise WrongUse(say("store.in_memory"))
        return place
    if _NO_FILE.search(place):
        raise WrongUse(say("store.which"))
    return folder / place


CHANGE_VARIABLE = "CROSSCOMPAT_CHANGE"
"""The environment's variable that holds the identifier of a change which may have been written already."""


def open_book(folder: Path, settings: Settings) -> Store:
    """Open the cross book of a collection, and make it if there is none; a file is copied once a day before writing."""
    from crosscompat.book.store import open_store  # noqa: PLC0415 - a collection without records needs no database

    place, change = book_place(folder, settings), os.environ.get(CHANGE_VARIABLE, "")
    return open_store(place, copied_daily=True, identity=settings.book_id, change=change)
