"""A collection from Python: what the commands give, as small objects and tables."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, fields
from datetime import date
from os import PathLike
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pandas as pd

from crosscompat.advice import ask as asking
from crosscompat.advice import partners as partnership
from crosscompat.advice import rank as ranking
from crosscompat.advice import retrain as retraining
from crosscompat.advice import score as scoring
from crosscompat.advice.predict import training_set_of
from crosscompat.book.crosses import Cross
from crosscompat.book.current_plants import Plant
from crosscompat.collection import opening
from crosscompat.ground.dates import today
from crosscompat.ground.wording import say

__all__ = ["OpenCollection", "open_collection"]

Role = Literal["seed", "pollen"]


def open_collection(folder: str | PathLike[str]) -> OpenCollection:
    """Open the collection in a folder.

    Raises
    ------
    BadInput, FileNotFoundError
        With the faults of every file in it; if it holds no settings.

    Examples
    --------
    The invented nursery of the demonstration; its outcomes are invented too.

    >>> import tempfile
    >>> from crosscompat.collection.create import make_demonstration
    >>> home = Path(tempfile.mkdtemp())
    >>> files = make_demonstration(home)
    >>> nursery = open_collection(home)
    >>> evidence = nursery.evidence(date(2026, 11, 1))
    >>> len(evidence) == len(nursery.crosses), bool(evidence["enters"].any()), bool(evidence["enters"].all())
    (True, True, False)
    >>> answer = nursery.ask("Echinocereus coccineus", "E. dasyacanthus", flowers=4)
    >>> table = nursery.rank(among=["Echinocereus coccineus", "E. dasyacanthus"], flowers=4)
    >>> row = table[table["seed_parent"] == "Echinocereus coccineus"].iloc[0]
    >>> bool(abs(row["chance"] - answer.pairing.chance.mean) < 1e-12)
    True
    """
    return OpenCollection(opening.open_collection(Path(folder)))


class OpenCollection:
    """A collection as it stood when it was opened, or retrained since; ``collection`` is what was read."""

    def __init__(self, collection: opening.Collection) -> None:
        self.collection = collection

    @property
    def plants(self) -> pd.DataFrame:
        """The plants, a row each with the fields of `Plant`; what is unknown is missing."""
        return _table(Plant, list(self.collection.plants.by_name.values()))

    @property
    def crosses(self) -> pd.DataFrame:
        """The crosses, a row each with the fields of `Cross`; an unknown count is missing, never a failure."""
        return _table(Cross, self.collection.crosses)

    def evidence(self, as_of: date | None = None) -> pd.DataFrame:
        """Return which crosses count for the chances, and why the others do not.

        The season is read as of a day, by default today. Columns are ``cross``, ``date``, ``seed_parent``,
        ``pollen_parent``, ``enters``, ``weight`` (of a full record; 0 where it does not enter), ``took`` (whether it
        gave a seedling; missing while that is open), ``left_out`` and ``why`` (a code and a sentence; missing where it
        enters). Those that enter stand first.
        """
        training = training_set_of(self.collection, as_of or today())
        known, fruitful = training.outcomes.known.tolist(), training.outcomes.fruitful.tolist()
        took = [yes if over else None for yes, over in zip(fruitful, known, strict=True)]
        entered = [
            (*_named(cross), True, weight, seedling, None, None)
            for cross, weight, seedling in zip(training.crosses, training.weight.tolist(), took, strict=True)
        ]
        rest = [
            (*_named(left.cross), False, 0.0, None, left.reason, say(f"learn.left_out.{left.reason}", n=1))
            for left in training.left_out
        ]
        columns = "cross", "date", "seed_parent", "pollen_parent", "enters", "weight", "took", "left_out", "why"
        return pd.DataFrame([*entered, *rest], columns=columns).astype({"enters": bool, "took": "boolean"})

    def ask(self, seed: str, pollen: str, *, flowers: int | None = None) -> asking.Answer:
        """Answer whether a pairing is worth the flowers, both ways round; as `crosscompat.advice.ask.ask`."""
        return asking.ask(self.collection, seed, pollen, flowers=flowers)

    def rank(
        self,
        *,
        partners_of: str | None = None,
        among: Sequence[str] = (),
        flowers: int | None = None,
        by: ranking.By = "chance",
    ) -> pd.DataFrame:
        """Rank the crosses wanted, or the pairings of one species, or those among several.

        ``among`` are the partners of the species or plant ``partners_of``, or without it all that are ranked among
        themselves; without both, the crosses wanted are. Each gets so many ``flowers``, by default as many as the
        grower usually takes. First goes ``by`` the ``chance``, what it would ``teach`` of the crosses wanted, or
        ``both``. Columns are those of ``rank --output``, and ``refused``: why a cross wanted can be no pairing (such
        rows stand last, without a chance).

        Raises
        ------
        WrongUse, UnknownName
            If ``flowers`` is below 1 or the names make no pairing; if a name stands nowhere.
        """
        candidates, refused = ranking.wanted_pairs(self.collection, self.collection.wanted)
        if partners_of or among:
            candidates, refused = ranking.chosen_pairs(self.collection, partners_of, among), []
        rows = ranking.records(ranking.rank(self.collection, candidates, flowers=flowers, by=by))
        bad = [{"seed_parent": r.seed_parent, "pollen_parent": r.pollen_parent, "refused": r.why} for r in refused]
        return pd.DataFrame([{**row, "refused": None} for row in rows] + bad)

    def partners(self, species: str, *, role: Role = "seed", flowers: int | None = None) -> pd.DataFrame:
        """Return the chance of a species or plant with every species of the tree, in the order of the tree.

        Columns are ``label``, ``species``, ``chance``, ``low``, ``high`` (missing for the species itself), ``took``,
        ``failed`` and ``notes``; `crosscompat.advice.partners.partners` says what they hold and what it raises.
        """
        seen = partnership.partners(self.collection, species, role=role, flowers=flowers)
        columns = "label", "species", "chance", "low", "high", "took", "failed", "notes"
        chances = [(c.mean, c.low, c.high) if (c := each.chance) else [np.nan] * 3 for each in seen.partners]
        sides = zip(seen.partners, chances, strict=True)
        rows = [(each.label, each.species, *chance, each.took, each.failed, each.notes) for each, chance in sides]
        return pd.DataFrame(rows, columns=columns)

    def score(self, *, ways: Sequence[str] = scoring.WAYS, as_of: date | None = None) -> scoring.Scorecard:
        """Hold out finished crosses and score forecasts of them; as `crosscompat.advice.score.score`."""
        return scoring.score(self.collection, ways=ways, as_of=as_of or today())

    def retrain(self, *, as_of: date | None = None, dry_run: bool = False) -> retraining.Lesson:
        """Learn from the season as ``crosscompat retrain`` does; a lesson that ``learned`` nothing is not kept.

        With ``dry_run`` nothing is written, and this object stays as it is.
        """
        day = as_of or today()
        lesson, saved = retraining.learn(self.collection, as_of=day)
        folder = self.collection.folder
        if lesson.learned and not dry_run and folder is not None:
            retraining.keep(self.collection, saved)
            self.collection = opening.open_collection(folder)
        return lesson

    def tree(self, species: str, *, role: Role = "seed", flowers: int | None = None) -> str:
        """Return the tree with the partners of a species marked, as SVG; `partners` gives the figures."""
        seen = partnership.partners(self.collection, species, role=role, flowers=flowers)
        return partnership.tree_picture(self.collection, seen)


def _named(cross: Cross) -> tuple[str, date, str, str | None]:
    return cross.number, cross.date, cross.seed_parent, cross.pollen_parent


def _table(kind: type, rows: Sequence[Any]) -> pd.DataFrame:
    return pd.DataFrame([asdict(row) for row in rows], columns=[item.name for item in fields(kind)]).convert_dtypes()
