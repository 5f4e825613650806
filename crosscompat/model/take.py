"""The model as a grower's notebook uses it: tables in, tables out."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from functools import cached_property
from typing import TYPE_CHECKING, Any, Self

import numpy as np

from crosscompat.book.crosses import COUNT_COLUMNS, impossible, outcomes_of
from crosscompat.book.records import SELFED
from crosscompat.ground.errors import BadInput, Fault, NameWarning, Place, WrongUse
from crosscompat.ground.names import genus_of
from crosscompat.ground.wording import say
from crosscompat.model.composition import Logits, SeedsPerPod
from crosscompat.model.fitted import FittedModel, fit_crosses, prior_model
from crosscompat.model.forecast import chances, no_surer, outlook
from crosscompat.model.likelihood import Floats
from crosscompat.model.pairings import Parents, in_place, pairings_of, relatedness
from crosscompat.model.stages import STAGES, step_counts
from crosscompat.model.training_set import CROSS
from crosscompat.pairing import farther_rows, pair_rows, recipe_for, scale_of
from crosscompat.phylogeny.taxa import HybridIndex, Taxa
from crosscompat.phylogeny.tree import Distances
from crosscompat.traits import TraitTable

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["TakeModel"]

_READ_AS = ("species", "synonym")
_PARENTS = ("seed_parent", "pollen_parent")
_PLANTS = ("seed_plant", "pollen_plant")


class TakeModel:
    """Chance that a pairing takes, learned from crosses.

    Parameters
    ----------
    tree_or_distances : Phylogeny or DistanceTable
        From :func:`crosscompat.read_tree` or :func:`crosscompat.read_distances`.
    traits : TraitTable, optional
        From :func:`crosscompat.read_traits`.
    seeds_per_pod : float
        Seeds expected in a ripe pod before any was counted; read only where crosses are counted by stage.
    most_seeds : int, optional
        Most seeds that a pod can hold (3 in spurges).

    Attributes
    ----------
    fitted_ : FittedModel
        What was learned; before ``fit`` the prior alone.
    left_out_ : Series of str
        Why rows of the last ``fit`` did not enter, by the index of its table.

    Examples
    --------
    >>> import pandas as pd
    >>> from crosscompat import TakeModel
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> tree = parse_newick("((a:1,b:1):2,(c:1,d:1):2);")
    >>> seen = pd.DataFrame(
    ...     {"seed_parent": ["a", "c", "a", "b"], "pollen_parent": ["b", "d", "c", "d"],
    ...      "tried": [10, 10, 10, 10], "took": [8, 7, 1, 0]})
    >>> model = TakeModel(tree).fit(seen)
    >>> asked = pd.DataFrame({"seed_parent": ["d", "d"], "pollen_parent": ["c", "a"]})
    >>> near, far = model.forecast(asked)["chance"]
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
    ) -> None:
        self.distances = tree_or_distances
        self.traits = traits
        self.pod = (seeds_per_pod, most_seeds)
        self._recipe = recipe_for(traits, scale_of(tree_or_distances))
        self.fitted_: FittedModel = prior_model(self._recipe, SeedsPerPod(seeds_per_pod, 1.0, most_seeds))

    def fit(self, crosses: pd.DataFrame) -> Self:
        """Learn from crosses.

        Parameters
        ----------
        crosses : DataFrame
            A row a cross, with ``seed_parent``, ``pollen_parent`` (species, or formulas of hybrids such as ``Aloe vera
            × A. ferox``) and either ``tried`` and ``took`` (units, and units with a seedling) or any of the counts
            ``units``, ``pods_set``, ``pods_held``, ``seeds``, ``seeds_filled``, ``seeds_sown``, ``seedlings``. A blank
            count is unknown, never a failure; a cross whose counts leave the outcome open does not enter. Optional:
            ``seed_plant`` and ``pollen_plant``, the very plants, and ``weight``, how much of a full record each row is
            (1 where absent; a row of weight 0 does not enter). Every stage is taken as over. The table is not changed.
            By ``kind``, ``pollen_kind``, ``technique``, ``proof``, ``only_successes``, ``lost_to`` and the very plants,
            where given, rows are left out as ``retrain`` leaves them out.

        Returns
        -------
        TakeModel
            Itself.

        Raises
        ------
        WrongUse
            If a column is missing.
        BadInput
            If counts are no whole numbers or impossible, a weight is no number of 0 or more, a parent is blank, a
            pair's distance is not known, or the tree has negative lengths.
        UnknownName
            If a parent stands nowhere in the tree; an abbreviated genus of a pollen parent is the seed parent's.
        """
        _need(crosses, _PARENTS)
        given = _count_arrays(crosses)
        lost = ~_column(crosses, "lost_to").isna().to_numpy(dtype=np.bool_)
        outcomes, weight = outcomes_of(given, lost), _weights(crosses)
        told = step_counts(given, np.full(len(crosses), np.inf), dict.fromkeys(STAGES, 0.0), lost)
        never = _never(crosses)
        entered = told.speaks & (weight > 0) & never.isna().to_numpy(dtype=np.bool_)
        silent = never.isna() & ~told.speaks
        self.left_out_ = never.mask(silent, "unknown_outcome").mask(silent & lost, "lost").dropna()
        seed, pollen = self._parents(crosses.loc[entered])
        species = tuple(sorted({*seed, *pollen}))
        distance = self._positions.apart(seed, pollen)
        at = np.flatnonzero(entered)
        self.fitted_ = fit_crosses(
            self._recipe,
            pair_rows(self._recipe, distance, self.traits, seed, pollen),
            told[at],
            weight[at],
            parents=Parents(seed, pollen, *_plants(crosses.loc[entered])),
            pod=self.pod,
            took=int(outcomes[at].fruitful.sum()),
            finished=int(outcomes[at].known.sum()),
            farthest=float(np.nanmax(distance, initial=0.0)),
            related=relatedness(self.distances, species, pedigree=self._positions.pedigree) if species else None,
        )
        return self

    def forecast(self, pairings: pd.DataFrame, flowers: int = 1) -> pd.DataFrame:
        """Return the chance of at least one seedling of each pairing.

        Parameters
        ----------
        pairings : DataFrame
            With ``seed_parent`` and ``pollen_parent``, and ``seed_plant`` and ``pollen_plant`` where the very plants
            are known; other columns are left alone.
        flowers : int
            Units pollinated; with 1 the chance is the chance per unit.

        Returns
        -------
        DataFrame
            ``seed_parent``, ``pollen_parent``, ``chance``, ``low``, ``high`` (posterior mean, 5th and 95th
            percentiles), with the rows, their order, the names and the index as given; ``attrs["basis"]`` is ``prior``
            where no cross was learned from, else ``crosses``.

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
        seed, pollen = self._parents(pairings)
        answer = chances(self._logits(Parents(seed, pollen, *_plants(pairings))), flowers)
        table = pairings.loc[:, list(_PARENTS)].assign(chance=answer.mean, low=answer.low, high=answer.high)
        table.attrs["basis"] = "crosses" if self.fitted_.steps else "prior"
        return table

    def _logits(self, parents: Parents) -> Logits:
        found = self._by_numbers(parents)
        species = in_place(self._positions, self.fitted_.seen, parents)
        if species is None:
            return found
        return no_surer(found, self._by_numbers(species.parents), species.weight, species.of)

    def _by_numbers(self, parents: Parents) -> Logits:
        seed, pollen, positions, recipe = parents.seed, parents.pollen, self._positions, self.fitted_.recipe
        apart = positions.apart(seed, pollen)
        rows = pair_rows(recipe, apart, self.traits, seed, pollen)
        asked = pairings_of(self.fitted_.seen, self.distances, parents, positions.pedigree)
        farther = farther_rows(recipe, apart, positions.spread(seed, pollen))
        return outlook(self.fitted_, rows, asked, farther).whole

    @cached_property
    def _positions(self) -> Taxa:
        return Taxa(self.distances, HybridIndex(self.distances.tips))

    def _parents(self, table: pd.DataFrame) -> tuple[list[str], list[str]]:
        _refuse_blanks(table)
        pairs = list(zip(table["seed_parent"], table["pollen_parent"], strict=True))
        index = self._positions.index
        seed = {name: index.match(str(name)) for name in dict.fromkeys(one for one, _ in pairs)}
        pollen = {pair: index.match(str(pair[1]), genus_of(str(pair[0]))) for pair in dict.fromkeys(pairs)}
        for sentence in dict.fromkeys(m.sentence for m in (*seed.values(), *pollen.values()) if m.how in _READ_AS):
            warnings.warn(sentence, NameWarning, stacklevel=3)
        return [seed[one].label for one, _ in pairs], [pollen[pair].label for pair in pairs]


def _column(table: pd.DataFrame, name: str) -> pd.Series[Any]:
    """Return a column of a table as objects; where there is none, all is missing."""
    return table.get(name, table["seed_parent"].map(lambda _: None)).astype(object)


def _never(crosses: pd.DataFrame) -> pd.Series[Any]:
    """Return why rows can never speak for their pairing, missing where they can; the first reason counts."""
    kind, pollen, technique, proof, only, mother, father = (
        _column(crosses, name) for name in ("kind", "pollen_kind", "technique", "proof", "only_successes", *_PLANTS)
    )
    rules = {
        "only_successes": only.astype(str).str.lower().isin({"yes", "true", "1"}),
        "selfed": proof == SELFED,
        "technique": technique.notna() & (technique != "plain"),
        "check": kind.notna() & (kind != CROSS),
        "one_clone": mother.notna() & (mother == father),
        "no_pairing": pollen.notna() & ~pollen.isin({"one", "several"}),
    }
    reason = crosses["seed_parent"].map(lambda _: None).astype(object)
    for name, holds in rules.items():
        reason = reason.mask(holds, name)
    return reason


def _need(table: pd.DataFrame, columns: Sequence[str]) -> None:
    missing = [column for column in columns if column not in table.columns]
    if missing:
        raise WrongUse(say("take.columns", missing=", ".join(missing), got=", ".join(map(str, table.columns))))


def _count_arrays(crosses: pd.DataFrame) -> dict[str, Floats]:
    given = [column for column in COUNT_COLUMNS if column in crosses.columns]
    if not given or ("tried" in given) != ("took" in given):
        raise WrongUse(say("take.counts", got=", ".join(map(str, crosses.columns))))
    faults: list[Fault] = []
    counts = {column: _numbers(column, crosses[column], faults) for column in given}
    faults += [Fault(Place(row=i + 1, column=column), what) for i, column, what in impossible(counts)]
    if faults:
        raise BadInput(sorted(faults, key=lambda fault: fault.place.row or 0))
    return counts


def _numbers(column: str, values: pd.Series[Any], faults: list[Fault]) -> Floats:
    """Read a column of counts, NaN where blank; what is no whole number, 0 or more, adds a fault and is NaN."""
    import pandas as pd  # noqa: PLC0415 - whoever hands in a table has loaded it

    numbers = pd.to_numeric(values.astype(object), errors="coerce").to_numpy(dtype=np.float64, na_value=np.nan)
    whole = (numbers >= 0) & (numbers == np.floor(numbers)) & np.isfinite(numbers)
    wrong = ~whole & values.notna().to_numpy(dtype=np.bool_)
    faults += [
        Fault(Place(row=int(row) + 1, column=column), say("take.whole", got=str(values.iloc[row])))
        for row in np.flatnonzero(wrong)
    ]
    return np.where(wrong, np.nan, numbers)


def _refuse_blanks(table: pd.DataFrame) -> None:
    faults = [
        Fault(Place(row=int(row) + 1, column=column), say("names.empty"))
        for column in _PARENTS
        for row in np.flatnonzero(table[column].isna().to_numpy(dtype=np.bool_))
    ]
    if faults:
        raise BadInput(faults)


def _plants(table: pd.DataFrame) -> tuple[Sequence[str | None], Sequence[str | None]]:
    """Read who the very plants are, None where blank; empty where there is no such column."""
    mothers, fathers = (
        [None if blank else str(name) for name, blank in zip(table[column], table[column].isna(), strict=True)]
        if column in table.columns
        else []
        for column in _PLANTS
    )
    return mothers, fathers


def _weights(crosses: pd.DataFrame) -> Floats:
    """Read how much each row counts."""
    import pandas as pd  # noqa: PLC0415 - whoever hands in a table has loaded it

    if "weight" not in crosses.columns:
        return np.ones(len(crosses))
    given = crosses["weight"]
    weight = pd.to_numeric(given.astype(object), errors="coerce").to_numpy(dtype=np.float64, na_value=np.nan)
    wrong = ~(np.isfinite(weight) & (weight >= 0))
    if wrong.any():
        raise BadInput(
            [
                Fault(Place(row=int(row) + 1, column="weight"), say("take.weight", got=str(given.iloc[row])))
                for row in np.flatnonzero(wrong)
            ]
        )
    return weight
