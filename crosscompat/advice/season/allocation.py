"""Share a season's flowers and evenings out among pairings, so that what they are worth comes to most.

An integer programme, solved by HiGHS (Huangfu & Hall 2018, Parallelizing the dual revised simplex method, Mathematical
Programming Computation 10:119-142). What a further flower on a pairing adds is never more than the one before added, so
that the flowers of a pairing fill up in order by themselves.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from crosscompat.advice.season.mating import Days
from crosscompat.model.likelihood import Floats, Ints

_LATER = 0.002
"""What a week's delay costs, a judgement: of weeks that are equal the first is taken."""

_GAP, _PATIENCE = 1e-3, 60.0
"""How near the best a plan must be proved to be, as a share of its worth, and for how many seconds that is tried."""

_AT_ONCE = 300
"""Options up to which the whole programme is solved at once."""

_ROUNDING = 1e-6


def solve(gain: Floats, ready: Days, wishes: Ints, mothers: Ints, evenings: int) -> tuple[Ints, Ints, float]:
    """Choose flowers and a week for each option, so that their worth is greatest.

    Parameters
    ----------
    gain : ndarray of float, shape (n_options, most)
        What each further flower adds, never more than the one before; below 0 it is not spent.
    ready : ndarray of bool, shape (n_options, n_weeks)
    wishes, mothers : ndarray of int, shape (n_options,)
        Of one wish at most one option is chosen; the options of one mother share her ``most`` flowers.
    evenings : int
        Most options in a week.

    Returns
    -------
    flowers, week : ndarray of int, shape (n_options,)
        0 flowers and week -1 where it is not chosen.
    gap : float
        By which share of the best it can fall short, at most.

    Notes
    -----
    Of many options those are tried alone first of which the linear relaxation uses any part: nothing can be worth more
    than the relaxation, and what they come to in whole flowers is mostly as near as that.

    Examples
    --------
    Two pairings on one mother with two flowers: one each is worth more than both on one.

    >>> gain = np.array([[0.5, 0.1], [0.4, 0.1]])
    >>> solve(gain, np.ones((2, 1), dtype=bool), np.array([0, 1]), np.array([0, 0]), 5)
    (array([1, 1]), array([0, 0]), 0.0)
    """
    tries, limit = [np.arange(len(gain))], 0.0
    if len(gain) > _AT_ONCE:
        used, _, _, limit = _programme(gain, ready, wishes, mothers, evenings, whole=False)
        tries = [np.flatnonzero(used), *tries]
    for some in tries:
        flowers, week = np.zeros(len(gain), dtype=np.intp), np.full(len(gain), -1)
        flowers[some], week[some], value, bound = _programme(
            gain[some], ready[some], wishes[some], mothers[some], evenings
        )
        limit = bound if some is tries[-1] else limit
        gap = 1 - value / limit if limit > value else 0.0
        if gap <= _GAP:
            break
    return flowers, week, gap


def _programme(
    gain: Floats, ready: Days, wishes: Ints, mothers: Ints, evenings: int, *, whole: bool = True
) -> tuple[Ints, Ints, float, float]:
    """Solve the programme in whole numbers or relaxed; return flowers, weeks, their worth, and what none exceeds."""
    options, most = gain.shape
    at, weeks_at = np.nonzero(ready)
    flower_of, nth = np.nonzero(gain > 0)
    size = at.size + options + nth.size
    flowers, week = np.zeros(options, dtype=np.intp), np.full(options, -1)
    if not size:
        return flowers, week, 0.0, 0.0
    in_week, made, spent = np.split(np.arange(size), [at.size, at.size + options])

    def rows(groups: Ints, columns: Ints, values: Floats, upper: Floats) -> LinearConstraint:
        matrix = coo_array((values, (groups, columns)), shape=(upper.size, size))
        return LinearConstraint(matrix.tocsr(), -np.inf, upper)

    once, all_options = np.ones(at.size), np.arange(options)
    constraints = [
        rows(np.concatenate([all_options, at]), np.concatenate([made, in_week]),
             np.concatenate([np.ones(options), -once]), np.zeros(options)),
        rows(wishes[at], in_week, once, np.ones(wishes.max(initial=0) + 1)),
        rows(weeks_at, in_week, once, np.full(ready.shape[1], float(evenings))),
        rows(mothers[flower_of], spent, np.ones(nth.size), np.full(mothers.max(initial=0) + 1, float(most))),
        rows(np.tile(np.arange(nth.size), 2), np.concatenate([spent, made[flower_of]]),
             np.repeat([1.0, -1.0], nth.size), np.zeros(nth.size)),
    ]  # fmt: skip
    cost = np.concatenate([weeks_at * _LATER, np.zeros(options), -gain[flower_of, nth]])
    found = milp(
        cost, integrality=np.full(size, int(whole)), bounds=Bounds(0.0, 1.0), constraints=constraints,
        options={"mip_rel_gap": _GAP, "time_limit": _PATIENCE},
    )  # fmt: skip
    if found.x is None:
        return flowers, week, 0.0, float(gain[gain > 0].sum())
    given = np.bincount(flower_of, weights=found.x[at.size + options :], minlength=options)
    flowers = np.ceil(given - _ROUNDING).astype(np.intp)
    picked = found.x[: at.size] > 0.5  # noqa: PLR2004 - a whole number, but for rounding
    week[at[picked]] = weeks_at[picked]
    week[flowers == 0] = -1
    bound = found.mip_dual_bound if whole else found.fun
    return flowers, week, -float(found.fun), -float(bound)
