"""Making a new collection, and that of an invented nursery, whose plants, crosses and outcomes are all made up."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from importlib.resources import as_file, files
from pathlib import Path
from typing import Literal

from crosscompat.book import records
from crosscompat.book.crosses import WANTED_HEADER, read_crosses
from crosscompat.book.current_plants import read_plants
from crosscompat.book.numbers_and_names import OURS
from crosscompat.book.record_fields import read_fields
from crosscompat.book.records import GivenForecast, Record
from crosscompat.book.store.pages import refuse_filled
from crosscompat.carried import carried_trees
from crosscompat.collection.opening import Recorded, tree_or_table
from crosscompat.collection.settings import FILE_NAME, FORMAT, Settings, open_book, read_settings
from crosscompat.ground.csv_cells import Cells, day, raise_faults, read_sheet, sheet_text
from crosscompat.ground.errors import CrosscompatError, Fault, WrongUse
from crosscompat.ground.files import write_atomically
from crosscompat.ground.names import genus_of
from crosscompat.ground.wording import say
from crosscompat.phylogeny.classification import ranks_among

_DEFAULT_TREE = "echinocereus"
_HEADERS = {"wanted.csv": WANTED_HEADER}
_BOOK = Settings().book


@dataclass(frozen=True, slots=True)
class NewCollection:
    """What was made."""

    folder: str
    files: list[str]
    tree: str
    schema: Literal["crosscompat.new/1"] = "crosscompat.new/1"


@dataclass(frozen=True, slots=True)
class _Start:
    """What a collection starts from: a carried tree, or a file with this content; the group and its seed vessel."""

    tree: str
    content: bytes | None = None
    unit: str | None = None
    traits: str | None = None
    synonyms: str | None = None
    trait_kinds: Mapping[str, str] = field(default_factory=dict)
    group: tuple[str, str] = ("", "fruit")


def create_collection(
    folder: Path,
    *,
    tree: str | None = None,
    unit: str | None = None,
    classification: Path | None = None,
    alignment: Path | None = None,
    outgroup: Sequence[str] = (),
) -> NewCollection:
    """Make a folder with settings, an empty cross book and an empty list of crosses wanted.

    The ``folder`` is made if it is not there. The ``tree`` is a carried one or a file, which is copied unless it is in
    the folder already; its lengths are of ``unit``. In its place there may be a ``classification``, a checklist with
    ranks, which is tree and traits at once; or an ``alignment``, aligned sequences, of which ``tree.nwk`` is made and
    rooted on the ``outgroup``, else at its midpoint.

    Raises
    ------
    WrongUse
        If the folder holds a collection already, the tree is neither carried nor a file, or more than one of tree,
        classification and alignment is given.
    BadInput
        With every fault of a tree, a table of distances, a checklist or an alignment.
    """
    if sum(given is not None for given in (tree, classification, alignment)) > 1:
        raise WrongUse(say("create.one_start"))
    if outgroup and alignment is None:
        raise WrongUse(say("create.outgroup"))
    if classification is not None:
        return _make(folder, _from_checklist(classification))
    if alignment is not None:
        return _make(folder, _from_alignment(alignment, outgroup))
    return _make(folder, _from_tree(tree, unit))


def _make(folder: Path, start: _Start) -> NewCollection:
    tables = {name: sheet_text(header, []).encode() for name, header in _HEADERS.items()}
    if start.content is not None:
        tables[start.tree] = start.content
    there = [name for name in (FILE_NAME, _BOOK, *tables) if (folder / name).exists()]
    if FILE_NAME in there or not all(_is_as_made(folder / name, tables) for name in there):
        raise WrongUse(say("create.there", folder=str(folder), files=", ".join(there)))
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in tables.items():
        if name != start.tree or name not in there:  # a tree that lies in its place is the grower's
            write_atomically(folder / name, content, follow=False)
    with open_book(folder, Settings()) as store:
        settings = _settings(folder.resolve().name, start, store.identity)
        write_atomically(folder / FILE_NAME, settings.encode(), follow=False)
    return NewCollection(str(folder), [FILE_NAME, _BOOK, *tables], start.tree)


def _is_as_made(path: Path, tables: Mapping[str, bytes]) -> bool:
    """Tell whether a file is what it would be made anew: a making that was cut short has left it."""
    if path.name in tables:
        return path.is_file() and path.read_bytes() == tables[path.name]
    try:
        with open_book(path.parent, Settings()) as store, store.reading() as page:
            refuse_filled(page)
    except CrosscompatError:
        return False
    return True


def _from_tree(name: str | None, unit: str | None) -> _Start:
    carried = {one.name: one for one in carried_trees()}
    name = name or _DEFAULT_TREE
    if name in carried:
        tree = carried[name]
        synonyms = name if tree.synonyms else None
        return _Start(name, None, tree.unit, name, synonyms, group=(tree.group, tree.fruit_word))
    if Path(name).is_file():
        first = tree_or_table(Path(name), unit=unit, index=0)  # of several the grower chooses later, in the settings
        return _Start(Path(name).name, Path(name).read_bytes(), unit, group=_group_of(first.tips))
    raise WrongUse(say("create.no_tree", tree=name, known=", ".join(carried)))


def _from_checklist(path: Path) -> _Start:
    from crosscompat.phylogeny.classification import read_classification  # noqa: PLC0415 - one start of several

    group, ranks = _group_of(read_classification(path).tips), ranks_among(read_sheet(path).header)
    kinds = dict.fromkeys(ranks, "text")
    return _Start(path.name, path.read_bytes(), traits=path.name, trait_kinds=kinds, group=group)


def _from_alignment(path: Path, outgroup: Sequence[str]) -> _Start:
    from crosscompat.phylogeny import neighbour_joining as joining  # noqa: PLC0415 - one of several
    from crosscompat.phylogeny.newick import newick_text  # noqa: PLC0415 - as above

    alignment = joining.read_alignment(path)
    apart = joining.jukes_cantor(alignment)
    tree = joining.neighbour_joining(alignment.names, apart, outgroup=outgroup, unit=joining.UNIT)
    return _Start("tree.nwk", newick_text(tree).encode(), joining.UNIT, group=_group_of(tree.tips))


def _group_of(tips: Sequence[str]) -> tuple[str, str]:
    """Return the group that all genera of a tree are of, and its word for the seed vessel; of mixed ones neither."""
    genera = {genus_of(tip.replace("_", " ")) for tip in tips}
    table = tomllib.loads(files("crosscompat.collection").joinpath("groups.toml").read_text(encoding="utf-8"))
    fits = ((row["name"], row["fruit"]) for row in table["groups"] if genera <= {*row["genera"]})
    return next(fits, ("", "fruit"))


def _settings(name: str, start: _Start, book: str) -> str:
    lines = [say(f"create.settings.{'checklist' if start.trait_kinds else 'tree'}"), f"tree = {_quoted(start.tree)}"]
    if not start.trait_kinds:
        lines += [f"tree_unit = {_quoted(start.unit)}"] if start.unit else [say("create.settings.unit")]
    lines += [f"traits = {_quoted(start.traits)}"] if start.traits else [say("create.settings.traits")]
    if start.synonyms:
        lines += [say("create.settings.synonyms"), f"synonyms = {_quoted(start.synonyms)}"]
    group, fruit = start.group
    words = {"name": name, "book": book, "group": group, "fruit": fruit, "number": OURS}
    quoted = {key: _quoted(text) for key, text in words.items()}
    text = say("create.settings.whole", format=FORMAT, start="\n".join(lines), **quoted)
    if start.trait_kinds:
        kinds = [f"{column} = {_quoted(kind)}" for column, kind in start.trait_kinds.items()]
        text += "\n".join(["", say("create.settings.kinds"), "[trait_kinds]", *kinds, ""])
    return text


def _quoted(text: str) -> str:
    """Return a TOML string, which JSON's strings are but for the sign DEL."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


_FILES = (FILE_NAME, "wanted.csv")
_DAY_OF_COUNT = {"pods_set": "swelling", "pods_held": "ripe"}


def make_demonstration(folder: Path, *, forecasts: bool = True) -> list[str]:
    """Make the invented nursery's collection in an empty folder, with or without forecasts, and return its files."""
    folder.mkdir(parents=True, exist_ok=True)
    for name in _FILES:
        write_atomically(folder / name, files("crosscompat.demo").joinpath(name).read_bytes())
    settings = read_settings(folder / FILE_NAME)
    found = invented_records()
    take_in(folder, settings, found if forecasts else Recorded(found.plants, found.crosses), _dated)
    return [*_FILES, settings.book]


def take_in(
    folder: Path,
    settings: Settings,
    tables: Recorded,
    mend: Callable[[Sequence[Record]], Iterable[Record]] = lambda found: found,
) -> None:
    """Write tables into the cross book of a collection, mended before, unless it holds anything already."""
    from crosscompat.book.import_export.import_table import records_of  # noqa: PLC0415 - the demonstration alone needs it

    with open_book(folder, settings) as store, store.writing(say("recorded.taken_in")) as pen:
        if not pen.changes():
            pen.imported = True
            pen.add(*mend(records_of(tables.plants, tables.crosses)), *tables.forecasts)


def invented_records() -> Recorded:
    """Read the tables of the invented nursery."""
    with as_file(files("crosscompat.demo")) as tables:
        return Recorded(
            read_plants(tables / "plants.csv"),
            read_crosses(tables / "crosses.csv"),
            read_forecasts(tables / "forecasts.csv"),
        )


def read_forecasts(path: Path) -> tuple[GivenForecast, ...]:
    """Read a table of forecasts, a column a field; raises a `BadInput` with every fault of the file."""
    faults: list[Fault] = []
    sheet = read_sheet(path, faults=faults)
    rows = [read_fields(Cells(sheet, row, faults), GivenForecast) for row in sheet.rows]
    raise_faults(faults)
    return tuple(GivenForecast(**row) for row in rows)


def _dated(found: Sequence[Record]) -> Iterator[Record]:
    """Give the counts of the invented crosses the days on which they were taken, and a tray its first seedling."""
    with as_file(files("crosscompat.demo").joinpath("days.csv")) as path:
        sheet = read_sheet(path)
    rows = [Cells(sheet, row, []) for row in sheet.rows]
    days = {row.text("cross"): {name: row.read(name, day) for name in sheet.header if name != "cross"} for row in rows}
    of = {one.id: days.get(one.number, {}) for one in found if isinstance(one, records.Cross)}
    of |= {one.id: of[one.cross] for one in found if isinstance(one, records.Sowing)}
    for one in found:
        match one:
            case records.Observation(cross=cross, what=what):
                yield replace(one, date=of[cross].get(_DAY_OF_COUNT.get(what, "")))
            case records.SeedLot(cross=cross):
                yield replace(one, date=of[cross].get("ripe"))
            case records.Sowing(cross=cross):
                yield replace(one, date=of[cross].get("sown"))
            case records.Emergence(sowing=sowing):
                first = of[sowing].get("first_up")
                if first and one.highest:
                    yield replace(one, id=records.new_id(), date=first, highest=1)
                yield replace(one, date=of[sowing].get("last_up"))
            case _:
                yield one
