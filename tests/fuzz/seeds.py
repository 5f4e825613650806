"""What the fuzzer starts from: small files of every kind that are right, or nearly."""

from __future__ import annotations

from functools import cache
from importlib.resources import files

import numpy as np

from crosscompat.carried import carried_tree
from crosscompat.model.fitted import fit_crosses
from crosscompat.model.pairings import Parents, relatedness
from crosscompat.model.saved import SavedModel, model_file
from crosscompat.model.training_set import step_counts
from crosscompat.pairing import DistanceScale, Feature, Recipe
from crosscompat.phylogeny.newick import parse_newick
from crosscompat.stages import STAGES

NEXUS = """#NEXUS
BEGIN TAXA;
TAXLABELS a 'b c';
END;
BEGIN TREES;
TRANSLATE 1 a, 2 'b c';
TREE t = [&R] (1:1,2:2);
END;
"""
PHYLOXML = """<phyloxml xmlns="http://www.phyloxml.org"><phylogeny rooted="true" branch_length_unit="My"><clade>
<clade><name>a</name><branch_length>1</branch_length></clade>
<clade><taxonomy><scientific_name>b</scientific_name></taxonomy><branch_length>2</branch_length>
<confidence type="pp">1</confidence></clade></clade></phylogeny></phyloxml>
"""
TREES = (
    "((a:1,b:1):1,(c:1,d:1)0.9:1);",
    "('It''s ×':1e-3,[&R]b_c:.5)root:0;\n(a,b,(c,d)99)e;",
    NEXUS,
    PHYLOXML,
    ",a,b,c\na,0\nb,1.5,0\nc,,4,0\n",
    ";a;b\na;0;1,5\nb;1,5;0\n",
    "a:0.1;",
    "(a:-1,b:1,b:x);(a:1",
)
NAMES = (
    "Echinocereus coccineus\nMentha",
    "E. coccineus subsp. rosei (Wooton & Standl.) N.P.Taylor 'Apache' QX 123\nEchinocereus dasyacanthus × E. coccineus",
    "(Aloe vera × A. ferox) × Aloe ×nova cv. Gold\nAloe vera × Aloe ferox",
    "Echinocereus_x_roetteri\n×Gasteraloe beguinii",
    "cf. triglochidiatus aff. var. mojavensis f. inermis\ntip 12",
    "Echinocereus sp. nov. L 1234 ‘Rubin’\na,b\nc,d",
    '"Aloe vera" hort. ex Haw.\nname,accepted,source\nCereus x,Aloe vera,me',
)
TABLES = (
    "Adate,seed_parent,pollen_parent,units,pods_set,seedlings,note\n2024-05-01,Aloe vera,A. ferox,5,2,0,rained\n",
    "BNr.;Datum;Mutter;Vater;Blüten;Früchte;Samen;gekeimt\n1;03.05.2024;E. coccineus;E. dasyacanthus;ca. 4;2,5;12;?\n",
    "C\tcross\tdate\tresult\n\tcoccineus x dasyacanthus\tMay 2024\tfailed\n\tA × B (x C)\t1/2/24\tmany, a few\n",
    "Dplant,species,acquired,died,owner,clone,note\ncoc-1,Echinocereus coccineus,2020,,me,QX 1,=cmd\n",
    "Eid,cross,date,seed_plant,pollen_plant,technique,took,lost_to\n,26-001H,2024-05-01T07:30,p1,p2,brush,yes,\n",
    "Fspecies,colour,stem_mm,ploidy,month\nAloe vera,yellow|orange,12-30,2n=14,3-5\nAloe ferox,red,,4x,\n",
)
SETTINGS = (
    """format = 1
name = "Mine"
tree = "echinocereus"
traits = "echinocereus"
group = "cactus"
hemisphere = "south"
""",
    """season_start = "02-29"
window_days = 365
set_days = 3
seeds_per_pod = 2.5
most_seeds = 3
invented = true
cross_number = "{year}-{n:03}{check}"
book = "book.sqlite"
place_missing = false
""",
    """[trait_kinds]
colour = "set"
stem = "length"
[priors.intercept]
mean = 0.5
sd = 1
""",
    """doubtful_weight = .5
tree_index = -1
tree_unit = "unit"
fruit_word = "pod"
cross_number = "{yy}/{n}{check}"
""",
)


@cache
def model() -> bytes:
    """Return the file of a small model."""
    parents = Parents(["a", "b", "c", "a"], ["b", "a", "d", "c"], ["p1", "p2", None, "p1"], [None, "p1", "p3", None])
    counts = dict.fromkeys(STAGES, np.full(4, np.nan)) | {"set": np.array([3.0, 0.0, 1.0, 2.0])}
    columns = {"units": np.full(4, 5.0), "pods_set": counts["set"]}
    nothing = np.full(4, np.nan)
    rest = dict.fromkeys(("pods_held", "seeds", "seeds_filled", "seeds_sown"), nothing)
    seedlings = np.array([2.0, 0.0, np.nan, 1.0])
    tree = parse_newick("((a:1,b:1):1,(c:1,d:1):1);")
    fitted = fit_crosses(
        Recipe((Feature("linear"),), DistanceScale(4.0, (("linear", 1.0, 1.0),))), np.zeros((4, 1)),
        step_counts({**columns, **rest, "seedlings": seedlings}, np.full(4, 400.0), dict.fromkeys(STAGES, 0.0)),
        np.ones(4), parents=parents, pod=(20.0, None), took=3, finished=4,
        related=relatedness(tree, sorted({*parents.seed, *parents.pollen})), records=("1", "2", "3", "4"),
    )  # fmt: skip
    return model_file(SavedModel(fitted, {"tree": "a", "traits": "", "crosses": "c"}, "2026-06-01"))


def seeds(target: str) -> list[bytes]:
    """Return the files that a target of `targets` starts from."""
    if target == "saved_model":
        return [model()]
    if target == "tree":
        return [*map(str.encode, TREES), carried_tree("echinocereus").tree.read_bytes()]
    if target == "importer":
        demo = files("crosscompat.demo")
        invented = [b"A" + (demo / f"{name}.csv").read_bytes()[:1500] for name in ("crosses", "plants")]
        return [*map(str.encode, TABLES), *invented]
    return [text.encode() for text in {"names": NAMES, "settings": SETTINGS}[target]]
