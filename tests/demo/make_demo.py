"""Make up what came of the crosses in plan.csv and write crosscompat/demo/crosses.csv. Everything here is invented.

``plan.csv`` says by hand who was crossed with whom, when and on how many flowers. This file adds the outcomes, by
chance from the rule below and a fixed seed, so that the written file is the same every time.

The rule, on the logit scale, r the parents' distance divided by 5.00 My (the widest on the tree):

==========  ======================  ==========================================================================
stage       a trial is              logit of its success
==========  ======================  ==========================================================================
set         a flower pollinated     1.5 - 2.0 r - 0.4 if the 2n differ + seed plant + pollen plant
hold        a fruit that swelled    1.2 - 2.5 r - 0.8 if the 2n differ + seed plant + fate of the cross
fill        a seed in a ripe fruit  1.4 - 4.0 r - 9.0 if the 2n differ + fate of the fruit
germinate   a filled seed sown      0.4 - 1.2 r - 0.8 if the 2n differ + fate of the tray
==========  ======================  ==========================================================================

A fate is normal about 0 with the standard deviation in ``FATE``. The number of seeds in a fruit is even over a range
that depends on the seed parent. Some plants are better mothers or fathers than others (``SEED_PLANT``,
``POLLEN_PLANT``). A plant's own pollen sets fruit one time in twenty unless the plant is self-fertile.
``TETRAPLOID`` is what the rule takes for true, whether or not anybody in the nursery has counted.

Run it as ``python tests/demo/make_demo.py``.
"""

from __future__ import annotations

import csv
import datetime as dt
import math
import random
import uuid
from collections import Counter
from pathlib import Path
from statistics import NormalDist

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
DEMO = ROOT / "crosscompat" / "demo"
NODES = ROOT / "trees" / "echinocereus" / "nodes.tsv"

HEADER = """
id cross date seed_parent pollen_parent seed_plant pollen_plant grower pollen_kind technique isolation units unit_kind
pods_set pods_held seeds seeds_filled seeds_sown seedlings tried took closed_stage lost_to only_successes source
recorded_at note
""".split()  # noqa: SIM905  # one word a column, as the header reads

LUCK = 2031  # picked from sixty, so that the stories of the plan and one exception to the rule of ploidy are met
IDS = uuid.UUID("5f1d3c52-7a0e-4b0c-9a55-0d6c0b6f2a11")
WIDEST = 5.00

INTERCEPT = {"set": 1.5, "hold": 1.2, "fill": 1.4, "germinate": 0.4}
DISTANCE = {"set": -2.0, "hold": -2.5, "fill": -4.0, "germinate": -1.2}
UNLIKE_2N = {"set": -0.4, "hold": -0.8, "fill": -9.0, "germinate": -0.8}
FATE = {"set": 0.0, "hold": 0.8, "fill": 0.8, "germinate": 0.6}

SEED_PLANT = {"STR-1": 1.0, "DAS-1": 0.8, "COC-F1": 0.6, "FEN-1": 0.6, "REI-1": 0.3}
SEED_PLANT |= {"TRI-1": -0.2, "COC-F2": -0.5, "RIG-1": -0.5, "PEC-1": -0.9}
POLLEN_PLANT = {"COC-M2": -0.3, "POS-1": -0.5, "RUS-1": -2.8}
TETRAPLOID = {"coccineus", "dasyacanthus", "engelmannii", "fasciculatus", "polyacanthus"}
FEW_SEEDS = {"poselgeri", "knippelianus", "pulchellus", "russanthus"}
MANY_SEEDS = {"stramineus", "dasyacanthus", "enneacanthus", "engelmannii", "fasciculatus"}

DROPPED = (
    "swelled for a month, then dropped: empty",
    "false swelling, soft and hollow by July",
    "fruit fell when touched",
)
NEEDS = {
    "damping off": lambda counts: "seeds_sown" in counts,
    "mice": lambda counts: counts["pods_set"] > 0,
    "proved self": lambda counts: counts.get("seeds_filled") == 0,
}
EMPTY = ("a fine red fruit, nothing but chaff in it", "ripe fruit, every seed flat")


class Rule:
    """Draws what comes of a cross. Only ``random.random`` is used: its numbers are promised to stay the same."""

    def __init__(self, ages: list[tuple[float, set[str]]], selfers: set[str]) -> None:
        self.chance = random.Random(LUCK)
        self.ages = ages
        self.selfers = selfers

    def distance(self, a: str, b: str) -> float:
        """Distance of two species divided by the widest, from the age of the youngest node that holds both."""
        return 0.0 if a == b else 2 * next(age for age, under in self.ages if {a, b} <= under) / WIDEST

    def fate(self, stage: str) -> float:
        return FATE[stage] * NormalDist().inv_cdf(self.chance.random() or 0.5)

    def count(self, n: int, logit: float) -> int:
        p = 1 / (1 + math.exp(-logit))
        return sum(self.chance.random() < p for _ in range(n))

    def seeds(self, species: str) -> int:
        low, high = (50, 110) if species in FEW_SEEDS else (180, 400) if species in MANY_SEEDS else (90, 240)
        return low + int(self.chance.random() * (high - low + 1))

    def logits(self, deed: dict[str, str]) -> dict[str, float]:
        """The stages' logits, before the fates."""
        seed, pollen = deed["seed_species"], deed["pollen_species"] or deed["seed_species"]
        r, unlike = self.distance(seed, pollen), (seed in TETRAPLOID) != (pollen in TETRAPLOID)
        logit = {stage: INTERCEPT[stage] + DISTANCE[stage] * r + UNLIKE_2N[stage] * unlike for stage in INTERCEPT}
        mother = SEED_PLANT.get(deed["seed_plant"], 0.0)
        logit["set"] += mother + POLLEN_PLANT.get(deed["pollen_plant"], 0.0)
        logit["hold"] += mother
        if deed["pollen_kind"] in {"self", "none"} and deed["seed_plant"] not in self.selfers:
            logit["set"] = math.log(1 / 19)
        return logit

    def stages(self, deed: dict[str, str]) -> dict[str, int]:
        """Counts of all four stages; those after a nought are absent."""
        logit, units = self.logits(deed), int(deed["units"])
        out = {"pods_set": self.count(units, logit["set"])}
        if out["pods_set"]:
            out["pods_held"] = self.count(out["pods_set"], logit["hold"] + self.fate("hold"))
        if out.get("pods_held"):
            fruits = [self.seeds(deed["seed_species"]) for _ in range(out["pods_held"])]
            out["seeds"] = sum(fruits)
            out["seeds_filled"] = sum(self.count(n, logit["fill"] + self.fate("fill")) for n in fruits)
        if out.get("seeds_filled"):
            out["seeds_sown"] = min(out["seeds_filled"], 20 + 10 * int(3 * self.chance.random()))
            out["seedlings"] = self.count(out["seeds_sown"], logit["germinate"] + self.fate("germinate"))
        return out

    def took(self, deed: dict[str, str]) -> int:
        """Flowers that gave at least one seedling, each followed by itself."""
        single = deed | {"units": "1"}
        return sum(self.stages(single).get("seedlings", 0) > 0 for _ in range(int(deed["units"])))


def closed_stage(counts: dict[str, int]) -> str:
    """The last stage that there was anything to count in."""
    last = {"pods_set": "set", "pods_held": "hold", "seeds_filled": "fill", "seedlings": "germinate"}
    return [stage for column, stage in last.items() if column in counts][-1]


def keep(counts: dict[str, int], *columns: str) -> dict[str, int]:
    return {column: counts[column] for column in columns if column in counts}


def tell_stages(counts: dict[str, int], deed: dict[str, str]) -> dict[str, object]:
    """What the book says of a cross followed stage by stage, by the plan's form and story."""
    form, story = deed["form"], deed["story"]
    if not NEEDS.get(story, lambda _: True)(counts):
        raise ValueError(f"the story {story!r} does not fit what chance gave the cross of {deed['date']}")
    if form == "begun":
        return {}
    if form == "to set":
        counts = keep(counts, "pods_set")
    elif form == "to hold":
        counts = keep(counts, "pods_set", "pods_held")
    if story == "damping off":
        told = counts | {
            "seedlings": "",
            "closed_stage": "fill",
            "lost_to": "damping off",
            "note": "tray lost before it could be counted",
        }
    elif story == "mice":
        told = keep(counts, "pods_set") | {"closed_stage": "set", "lost_to": "mice", "note": "fruit eaten green"}
    elif story == "proved self":
        note = "one seedling came up, counted 2n = 44 like its mother: proved a self, so not counted here"
        told = counts | {"seeds_filled": 1, "seeds_sown": 1, "seedlings": 0, "closed_stage": "germinate", "note": note}
    else:
        told = {**counts, "closed_stage": closed_stage(counts)}
    if form == "good":
        told.pop("seeds", None)
    return told


def ending(counts: dict[str, object], number: int) -> str:
    """A word on a cross that came to nothing after the fruit had raised hopes."""
    if counts.get("pods_held") == 0:
        return DROPPED[number % len(DROPPED)]
    return EMPTY[number % len(EMPTY)] if counts.get("seeds_filled") == 0 else ""


def recorded_at(date: str, told: dict[str, object], number: int, *, typed_up: bool) -> str:
    """An evening after the last thing told, in UTC."""
    days = {"set": 28, "hold": 88, "fill": 110, "germinate": 340, "": 0}[str(told.get("closed_stage", ""))]
    if typed_up:
        days = 540
    elif told.get("lost_to") == "damping off":
        days = 315
    evening = dt.datetime.fromisoformat(date) + dt.timedelta(days=days, hours=18 + number % 4, minutes=7 * number % 60)
    return evening.strftime("%Y-%m-%dT%H:%M:%SZ")


def row_of(deed: dict[str, str], number: int, cross: str, rule: Rule) -> dict[str, object]:
    """One line of the cross book."""
    only_successes = deed["story"] == "only successes"
    if deed["form"] == "plain":
        took = rule.took(deed)
        while only_successes and not took:
            took = rule.took(deed)
        told: dict[str, object] = {"tried": deed["units"], "took": took}
    else:
        told = tell_stages(rule.stages(deed), deed) | {"units": deed["units"], "unit_kind": "flower"}
    told["note"] = "; ".join(filter(None, [deed["note"], str(told.get("note", "")) or ending(told, number)]))
    pollen_species = deed["pollen_species"]
    return {
        "id": str(uuid.uuid5(IDS, cross)),
        "cross": cross,
        "seed_parent": f"Echinocereus {deed['seed_species']}",
        "pollen_parent": f"Echinocereus {pollen_species}" if pollen_species else "",
        "only_successes": "yes" if only_successes else "",
        "source": "invented",
        "recorded_at": recorded_at(deed["date"], told, number, typed_up=deed["form"] == "plain"),
        **{column: deed[column] for column in HEADER if column in deed and column not in {"units", "note"}},
        **told,
    }


def read(path: Path, delimiter: str = ",") -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines, delimiter=delimiter))


def deeds(plants: dict[str, dict[str, str]]) -> list[dict[str, str]]:
    """The plan in order of date; a parent that is not a plant of the house is a species' epithet."""
    out = []
    for deed in sorted(read(HERE / "plan.csv"), key=lambda deed: deed["date"]):
        for side in ("seed", "pollen"):
            parent = deed.pop(side)
            plant = plants.get(parent)
            deed[f"{side}_plant"] = parent if plant else ""
            deed[f"{side}_species"] = plant["species"].split()[1] if plant else parent
        out.append(deed)
    return out


def rows() -> list[dict[str, object]]:
    """Every line of crosses.csv."""
    plants = {plant["plant"]: plant for plant in read(DEMO / "plants.csv")}
    nodes = read(NODES, "\t")
    ages = [(float(node["node_age_My"]), set(node["species_under_the_node"].split())) for node in nodes]
    rule = Rule(ages, {name for name, plant in plants.items() if plant["self_fertile"] == "yes"})
    seen: Counter[str] = Counter()
    out = []
    for number, deed in enumerate(deeds(plants), start=1):
        year = deed["date"][2:4]
        seen[year] += 1
        out.append(row_of(deed, number, f"{year}-{seen[year]:02}", rule))
    return out


def write(path: Path) -> None:
    with path.open("w", encoding="utf-8", newline="") as lines:
        writer = csv.DictWriter(lines, HEADER, lineterminator="\n", restval="")
        writer.writeheader()
        writer.writerows(rows())


if __name__ == "__main__":
    write(DEMO / "crosses.csv")
