"""Learn the priors: ``python tests/benchmarks/learn_prior.py ../shared/data/crosses [--leave-out GENUS]``.

A logistic regression of published crosses of 39 genera (a tenth of what the mother sets with her own kind, or not) on
the curves of the distance, as the model measures them on the species of each genus. The intercept and every slope vary
by genus; seed parents, pollen parents and pairs have effects. The model's own engine fits it, variances integrated.

A genus that nobody has crossed yet is any genus: its coefficients lie about the means, as far as genera differ and the
means are unsure. So the prior's standard deviation is the root of both squares. The level is that of the published
event, not of a seedling from a flower. A single outcome of each direction does not tell the direction's own effect from
chance, nor that of a record.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parent))

from crosses import by_genus, published_genera

from crosscompat.model.design_matrix import Factor
from crosscompat.model.gaussian import GaussianPrior, stage_of
from crosscompat.model.likelihood import Counts
from crosscompat.model.posterior import integrate
from crosscompat.model.prior import published
from crosscompat.pairing import CURVES, scale_of

VAGUE = {"intercept": 5.0, "time": 5.0, "root": 1.0, "linear": 1.0, "square": 1.0}
"""Prior standard deviations of the means. The three curves beside time can hardly be told apart and share the work."""
BETWEEN = {"intercept": 2.5, "time": 1.5, "root": 1.5, "linear": 1.5, "square": 1.5}
FAR = 12
"""Millions of years, both branches together, from which on most published crosses fail."""
EFFECTS = {"seed": 2.0, "pollen": 2.0, "pair": 1.0}


@dataclass(frozen=True, slots=True)
class Learned:
    """What a fit says: by coefficient its mean, how unsure that is and how widely genera differ; the effects' sds.

    ``between`` and ``effects`` hold means and standard deviations of standard deviations.
    """

    mean: dict[str, float]
    unsure: dict[str, float]
    between: dict[str, tuple[float, float]]
    effects: dict[str, tuple[float, float]]

    def sd(self, name):
        """Return the prior's standard deviation for a genus that was not in the fit."""
        return float(np.hypot(self.unsure[name], np.hypot(*self.between[name])))


def published_rows(root):
    """Return a row a published cross, with its curves on the scale of its genus."""
    data, parts = published_genera(root), []
    measure = (
        pd.read_csv(root / "published_genera" / "crosses.csv").query("patristic_Myr.notna()")["measure"].to_numpy()
    )
    for genus, own in by_genus(data).items():
        scale = scale_of(own.relatives)
        curves = pd.DataFrame(scale.rows(own.distance), columns=[name for name, _, _ in scale.places])
        parts.append(
            pd.concat([own.crosses, curves], axis=1).assign(
                genus=genus, distance=own.distance, measure=measure[data.genera == genus]
            )
        )
    return pd.concat(parts, ignore_index=True)


def learn(rows, curves=CURVES):
    """Fit the hierarchical regression, and return what it says."""
    names = ["intercept", *curves]
    design = np.column_stack([np.ones(len(rows)), *(rows[curve] for curve in curves)])
    genus = np.unique(rows["genus"], return_inverse=True)[1]
    factors = [Factor.of(name, genus) for name in names]
    pairs = [str(sorted(pair)) for pair in zip(rows["seed_parent"], rows["pollen_parent"], strict=True)]
    kinds = (
        ("seed", rows["seed_parent"], False),
        ("pollen", rows["pollen_parent"], False),
        ("pair", pairs, True),
    )
    factors += [Factor.of(name, np.unique(of, return_inverse=True)[1], nested=nested) for name, of, nested in kinds]
    prior = GaussianPrior(np.zeros(len(names)), np.array([VAGUE[name] for name in names]))
    stage = stage_of(Counts.of(np.ones(len(rows)), rows["took"].to_numpy(float)), design, prior, tuple(factors))
    scales = np.array([*(BETWEEN[name] for name in names), *EFFECTS.values()])
    _, points = integrate(_with_slopes(stage, design), scales)
    return _summed(points, names)


def _with_slopes(stage, slopes):
    """Let the effects of the first factors, one a coefficient, be of its curve: the model itself has none such."""
    matrix = stage.design
    columns = matrix.columns if matrix.products is not None else np.tile(np.arange(matrix.size), (len(slopes), 1))
    rows = matrix.rows.copy()
    for block, slope in zip(matrix.blocks, slopes.T, strict=False):
        rows *= np.where((columns >= block.start) & (columns < block.stop), slope[:, None], 1.0)
    return replace(stage, design=replace(matrix, rows=rows))


def _summed(points, names):
    """Average over the points."""
    size = len(names)
    weight = np.array([point.weight for point in points])
    means = np.array([point.mode.theta[:size] for point in points])
    variances = np.array([_variances(point.mode)[:size] for point in points])
    sds = np.array([point.mode.scales.sds for point in points])
    mean, sd = weight @ means, weight @ sds
    unsure = np.sqrt(weight @ (variances + (means - mean) ** 2))
    spread = np.sqrt(weight @ (sds - sd) ** 2)
    told = [(float(a), float(b)) for a, b in zip(sd, spread, strict=True)]
    return Learned(
        dict(zip(names, map(float, mean), strict=True)),
        dict(zip(names, map(float, unsure), strict=True)),
        dict(zip(names, told[:size], strict=True)),
        dict(zip(EFFECTS, told[size:], strict=True)),
    )


def _variances(mode):
    return np.diag(mode.gaussian.covariance)


def learned_priors(rows, *, level=True, effects=False):
    """Return the shipped priors with the learned numbers in their place.

    ``level``: the intercept too, which is that of the published event. ``effects``: the scales of parents and pairs,
    such that the root of the mean square of the standard deviation is the learned one.
    """
    found = learn(rows)
    kept = [name for name in found.mean if level or name != "intercept"]
    change = {name: {"mean": found.mean[name], "sd": found.sd(name)} for name in kept}
    if effects:
        change["effects"] = {name: {"scale": float(np.hypot(*sd))} for name, sd in found.effects.items()}
    return published().changed(change)


def report(title, rows, curves):
    """Print one fit as a table."""
    found = learn(rows, curves)
    sys.stdout.write(f"\n{title}: {len(rows)} crosses of {rows['genus'].nunique()} genera\n")
    sys.stdout.write("coefficient   mean (standard error)  between genera   prior of a new genus\n")
    for name, mean in found.mean.items():
        sd, spread = found.between[name]
        sys.stdout.write(
            f"{name:12} {mean:6.2f} ({found.unsure[name]:.2f})        {sd:.2f} ({spread:.2f})      "
            f"{mean:.2f} give or take {found.sd(name):.2f}\n"
        )
    for name, (sd, spread) in found.effects.items():
        sys.stdout.write(f"{name:12} standard deviation {sd:.2f} ({spread:.2f})\n")
    sys.stdout.flush()


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("crosses", type=Path)
    parser.add_argument("--leave-out", metavar="GENUS", action="append", default=[])
    given = parser.parse_args()
    rows = published_rows(given.crosses)
    rows = rows[~rows["genus"].isin(given.leave_out)]
    for far, own in rows.groupby(rows["distance"] >= FAR):
        sys.stdout.write(f"{'From' if far else 'Below'} {FAR} My: {own['took'].sum():.0f} of {len(own)} work\n")
    report("All stages", rows, CURVES)
    report("All stages, one curve", rows, ("time",))
    for measure, own in rows.groupby("measure"):
        report(measure.capitalize(), own, ("time",))


if __name__ == "__main__":
    main()
