"""The model as a grower's notebook uses it: tables in, tables out."""

from __future__ import annotations

import warnings
from collections.abc import Mapping, Sequence
from datetime import date
from functools import cached_property
from typing import TYPE_CHECKING, Any, Self

import numpy as np
from numpy.typing import NDArray

from crosscompat.book.crosses import COUNT_COLUMNS, Cross, crosses_in
from crosscompat.book.current_plants import Plants
from crosscompat.ground.csv_cells import Row, Sheet, as_text
from crosscompat.ground.dates import FIRST_YEAR, today
from crosscompat.ground.errors import BadInput, Fault, NameWarning, Place, WrongUse
from crosscompat.ground.names import genus_of
from crosscompat.ground.wording import say
from crosscompat.model.composition import Logits, SeedsPerPod
from crosscompat.model.fitted import FittedModel, fit_training_set, prior_model
from crosscompat.model.forecast import chances, put_to
from crosscompat.model.likelihood import Floats
from crosscompat.model.pairings import Parents, in_place, no_surer
from crosscompat.model.training_set import self_fertile_labels, training_set_from
from crosscompat.pairing import recipe_for, scale_of
from crosscompat.phylogeny.taxa import HybridIndex, Taxa
from crosscompat.phylogeny.tree import Distances
from crosscompat.stages import USUAL_DAYS
from crosscompat.traits import TraitTable

if TYPE_CHECKING:
    import pandas as pd

_READ_AS = ("species", "synonym")
_PARENTS = ("seed_parent", "pollen_parent")
_PLANTS = ("seed_plant", "pollen_plant")
_READ = (
    *("date", *_PARENTS, *_PLANTS, "kind", "pollen_kind", "technique", "proof", "lost_to"),
    *("only_successes", "stamens_removed", "recorded_at", *COUNT_COLUMNS),
)
_LONG_AGO = f"{FIRST_YEAR}-01-01"
"""The day of a cross without one: every stage of it is over."""


class TakeModel:
    """Chance that a pairing takes, learned from crosses.

    Parameters
    ----------
    tree_or_distances : Phylogeny or DistanceTable
        From :func:`crosscompat.read_tree` or :func:`crosscompat.read_distances`.
    traits : TraitTable, optional
        From :func:`crosscompat.read_traits`.
    seeds_per_pod, most_seeds : float, int or None
        Seeds expected in a ripe pod before any was counted, and the most that it can hold (3 in spurges); read only
        where crosses are counted by stage.
    windows : mapping of str to float, optional
        Days after the pollination on which each stage is closed; where crosses are dated, a stage says nothing before.

    Attributes
    ----------
    fitted_ : FittedModel
        What was learned; before ``fit`` the prior alone.
    left_out_ : Series of str
        Why rows of the last ``fit`` do not count, by the index of its table; a word of ``training_set.REASONS``.

    Examples
    --------
    >>> import pandas as pd
    >>> from crosscompat import TakeModel
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> tree = parse_newick("((a:1,b:1):2,(c:1,d:1):2);")
    >>> seen = pd.DataFrame(
    ...     {"seed_parent": ["a", "c", "a", "b"], "pollen_parent": ["b", "d", "c", "d"],
    ...      "tried": [10, 10, 10, 10], "took": [8, 7, 1, 0]})
    >>> asked = pd.DataFrame({"seed_parent": ["d", "d"], "pollen_parent": ["c", "a"]})
    >>> near, far = TakeModel(tree).fit(seen).forecast(asked)["chance"]
    >>> bool(near > 0.5 > far)
    True
    """

    def __init__(
        self,
        tree_or_distances: Distances,
        traits: TraitTable | None = None,
        *,
        seeds_per_pod: float = 20.0,
        most_seeds: int | None = None,
        windows: Mapping[str, float] = USUAL_DAYS[""],
    ) -> None:
        self.distances = tree_or_distances
        self.traits = traits
        self.pod = (seeds_per_pod, most_seeds)
        self.windows = windows
        self._recipe = recipe_for(traits, scale_of(tree_or_distances))
        self.fitted_: FittedModel = prior_model(self._recipe, SeedsPerPod(seeds_per_pod, 1.0, most_seeds))

    def fit(self, crosses: pd.DataFrame, *, as_of: date | None = None) -> Self:
        """Learn from crosses, by the rules of the cross book as far as the table has their columns.

        Parameters
        ----------
        crosses : DataFrame
            A row a cross, such as ``crosscompat export --crosses`` writes, with ``seed_parent``, ``pollen_parent``
            (species, or formulas of hybrids such as ``Aloe vera × A. ferox``) and either ``tried`` and ``took`` (units,
            and units with a seedling) or any of the counts ``units``, ``pods_set``, ``pods_held``, ``seeds``,
            ``seeds_filled``, ``seeds_sown``, ``seedlings``. A blank count is unknown, never a failure. Read where they
            are there: ``date``, without which every stage is over; the very plants, ``seed_plant`` and
            ``pollen_plant``; ``kind``, ``pollen_kind``, ``technique``, ``proof``, ``lost_to``, ``only_successes``,
            ``stamens_removed`` and ``recorded_at``; and ``weight``, how much of a full record each row is (1 where
            absent; a row of weight 0 is not read further). The table is not changed.
        as_of : date, optional
            The day on which the season is read; today by default.

        Raises
        ------
        WrongUse
            If a column is missing.
        BadInput
            If something cannot be read, counts are impossible, a weight is no number of 0 or more, a pair's distance is
            not known, or the tree has negative lengths.
        UnknownName
            If a parent stands nowhere in the tree; an abbreviated genus of a pollen parent is the seed parent's.
        """
        import pandas as pd  # noqa: PLC0415 - whoever hands in a table has loaded it

        _need(crosses, _PARENTS)
        given = [column for column in COUNT_COLUMNS if column in crosses.columns]
        if not given or ("tried" in given) != ("took" in given):
            raise WrongUse(say("take.counts", got=", ".join(map(str, crosses.columns))))
        weight = _weights(crosses)
        weighed = np.flatnonzero(weight > 0)
        records, index = _cross_records(crosses.iloc[weighed], weighed), self._positions.index
        selfs = self_fertile_labels(self.traits, index)
        training = training_set_from(
            records, Plants.of([]), index, as_of=as_of or today(), windows=self.windows, self_fertile=selfs
        )
        nowhere = [left.cross.row for left in training.left_out if left.reason == "not_in_tree"]
        rows = [cross.row for cross in training.crosses]
        self._parents(crosses.iloc[[row - 1 for row in sorted((*nowhere, *rows))]])
        out = [left.cross.row - 1 for left in training.left_out]
        self.left_out_ = pd.Series([left.reason for left in training.left_out], crosses.index[out], dtype=object)
        plants = [cross.seed_plant for cross in training.crosses], [cross.pollen_plant for cross in training.crosses]
        own = weight[[row - 1 for row in rows]]
        self.fitted_ = fit_training_set(
            training, self._recipe, self._positions, self.traits, plants, pod=self.pod, weight=own
        )
        return self

    def forecast(self, pairings: pd.DataFrame, flowers: int = 1) -> pd.DataFrame:
        """Return the chance of at least one seedling of each pairing.

        Parameters
        ----------
        pairings : DataFrame
            With ``seed_parent`` and ``pollen_parent``, and ``seed_plant`` and ``pollen_plant`` where the very plants
            are known.
        flowers : int
            Units pollinated; with 1 the chance is the chance per unit.

        Returns
        -------
        DataFrame
            ``seed_parent``, ``pollen_parent``, ``chance``, ``low``, ``high`` (posterior mean, 5th and 95th percentiles)
            and ``note``, with the rows, their order, the names and the index as given. The note says where nothing but
            the prior stands behind a chance, and which rows are selfs: one plant with itself has no chance (NaN), and
            one species with itself is taken for two plants of it. ``attrs["basis"]`` is ``prior`` or ``crosses``.

        Raises
        ------
        WrongUse
            If a column is missing or ``flowers`` is below 1.
        UnknownName
            If a parent stands nowhere in the tree.
        """
        _need(pairings, _PARENTS)
        if not flowers >= 1:
            raise WrongUse(say("take.flowers", got=flowers))
        blanks = {column: pairings[column].isna().to_numpy(dtype=np.bool_) for column in _PARENTS}
        if any(blank.any() for blank in blanks.values()):
            raise BadInput(
                [fault for name in _PARENTS for fault in _faults(name, pairings[name], blanks[name], "names.empty")]
            )
        seed, pollen = self._parents(pairings)
        parents = Parents(seed, pollen, *_plants(pairings))
        answer = chances(self._logits(parents), flowers)
        plants = zip(parents.seed_plants, parents.pollen_plants, strict=True)
        alone = np.array([mother is not None and mother == father for mother, father in plants], dtype=np.bool_)
        numbers = {name: np.where(alone, np.nan, getattr(answer, name)) for name in ("mean", "low", "high")}
        table = pairings.loc[:, list(_PARENTS)].assign(
            chance=numbers["mean"], low=numbers["low"], high=numbers["high"], note=self._notes(parents, alone)
        )
        table.attrs["basis"] = "crosses" if self.fitted_.steps else "prior"
        return table

    def _notes(self, parents: Parents, alone: NDArray[np.bool_]) -> list[str]:
        """Say what to know of each chance: that it is a self, and that no cross stands behind it."""
        prior = [] if self.fitted_.steps else [say("take.note.prior")]
        same = [seed == pollen for seed, pollen in zip(parents.seed, parents.pollen, strict=True)]
        return [
            say("take.note.self") if self_row else " ".join([*prior, *([say("take.note.within")] if within else [])])
            for self_row, within in zip(alone, same, strict=True)
        ]

    def _logits(self, parents: Parents) -> Logits:
        def logits(asked: Parents) -> Logits:
            return put_to(self.fitted_, self._positions, self.traits, asked)[2].whole

        species = in_place(self._positions, self.fitted_.seen, parents)
        own = logits(parents)
        return own if species is None else no_surer(own, logits(species.parents), species.weight, species.of)

    @cached_property
    def _positions(self) -> Taxa:
        return Taxa(self.distances, HybridIndex(self.distances.tips))

    def _parents(self, table: pd.DataFrame) -> tuple[list[str], list[str]]:
        pairs = list(zip(table["seed_parent"], table["pollen_parent"], strict=True))
        index = self._positions.index
        seed = {name: index.match(str(name)) for name in dict.fromkeys(mother for mother, _ in pairs)}
        pollen = {pair: index.match(str(pair[1]), genus_of(str(pair[0]))) for pair in dict.fromkeys(pairs)}
        for sentence in dict.fromkeys(m.sentence for m in (*seed.values(), *pollen.values()) if m.how in _READ_AS):
            warnings.warn(sentence, NameWarning, stacklevel=3)
        return [seed[mother].label for mother, _ in pairs], [pollen[pair].label for pair in pairs]


def _need(table: pd.DataFrame, columns: Sequence[str]) -> None:
    missing = [column for column in columns if column not in table.columns]
    if missing:
        raise WrongUse(say("take.columns", missing=", ".join(missing), got=", ".join(map(str, table.columns))))


def _cross_records(table: pd.DataFrame, places: NDArray[np.intp]) -> list[Cross]:
    """Read rows as the cross book reads a table of crosses; each has the number of its row, from 1."""
    columns = [column for column in _READ if column in table.columns]
    dated = {} if "date" in columns else {"date": _LONG_AGO}
    cells = {column: [_cell_text(value) for value in table[column]] for column in columns}
    half = [None in both for both in zip(*(cells.get(name, ()) for name in ("tried", "took")), strict=True)]
    for name in ("tried", "took") if half else ():  # how many of an unknown number says nothing
        cells[name] = [None if skip else text for skip, text in zip(half, cells[name], strict=True)]
    rows = [
        Row(int(place) + 1, {**dated, **{column: texts[i] for column, texts in cells.items()}})
        for i, place in enumerate(places)
    ]
    faults: list[Fault] = []
    crosses = crosses_in(Sheet("", tuple(columns), tuple(rows)), faults)
    if faults:
        raise BadInput(sorted(faults, key=lambda fault: fault.place.row or 0))
    return crosses


def _cell_text(value: Any) -> str | None:
    """Write a value as a table would hold it; None where it is blank."""
    import pandas as pd  # noqa: PLC0415 - whoever hands in a table has loaded it

    if value is None or pd.isna(value):
        return None
    if isinstance(value, (bool, np.bool_)):
        return str(int(value))
    if isinstance(value, pd.Timestamp):
        return value.date().isoformat() if value.tzinfo is None else as_text(value.to_pydatetime())
    if isinstance(value, (float, np.floating)) and float(value).is_integer():
        return str(int(value))
    return as_text(value)


def _faults(column: str, values: pd.Series[Any], wrong: NDArray[np.bool_], key: str) -> list[Fault]:
    rows = np.flatnonzero(wrong).tolist()
    return [Fault(Place(row=row + 1, column=column), say(key, got=str(values.iloc[row]))) for row in rows]


def _plants(table: pd.DataFrame) -> list[list[str | None]]:
    """Read who the very plants are, None where blank; none of them where the table has no such columns."""
    columns = (column for _, column in table.reindex(columns=list(_PLANTS)).items())
    return [[None if blank else str(name) for name, blank in zip(c, c.isna(), strict=True)] for c in columns]


def _weights(crosses: pd.DataFrame) -> Floats:
    """Read how much each row counts."""
    import pandas as pd  # noqa: PLC0415 - whoever hands in a table has loaded it

    if "weight" not in crosses.columns:
        return np.ones(len(crosses))
    weight = pd.to_numeric(crosses["weight"].astype(object), errors="coerce").to_numpy(np.float64, na_value=np.nan)
    wrong = ~(np.isfinite(weight) & (weight >= 0))
    if wrong.any():
        raise BadInput(_faults("weight", crosses["weight"], wrong, "take.weight"))
    return weight
