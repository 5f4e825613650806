"""Distances against published trees; the source stands beside each."""

from __future__ import annotations

import dendropy
import numpy as np
import pytest

from crosscompat.phylogeny.distances import read_distances
from crosscompat.phylogeny.formats import read_tree
from crosscompat.phylogeny.newick import parse_newick


def full(rows):
    """Return a symmetric matrix from the rows of its upper triangle."""
    size = len(rows) + 1
    matrix = np.zeros((size, size))
    matrix[np.triu_indices(size, 1)] = [value for row in rows for value in row]
    return matrix + matrix.T


def test_five_taxa_of_the_minimum_evolution_example():
    """Matrix and tree as in scikit-bio's tests of tree building (skbio/tree/tests/test_me.py); the tree is exact."""
    tree = parse_newick("(d:2,e:1,(c:4,(a:2,b:3):3):2);")
    wanted = full([[5, 9, 9, 8], [10, 10, 9], [8, 7], [3]])
    np.testing.assert_allclose(tree.patristic_matrix(list("abcde")), wanted, atol=1e-12)


def test_eight_units_of_saitou_and_nei():
    """Saitou & Nei 1987, doi 10.1093/oxfordjournals.molbev.a040454 (matrix from memory; the tree fits it exactly)."""
    tree = parse_newick("((((((1:5,2:2):2,3:1):1,4:3):2,(5:1,6:4):2):1,7:2):0,8:6);")
    wanted = full(
        [
            [7, 8, 11, 13, 16, 13, 17],
            [5, 8, 10, 13, 10, 14],
            [5, 7, 10, 7, 11],
            [8, 11, 8, 12],
            [5, 6, 10],
            [9, 13],
            [8],
        ]
    )
    np.testing.assert_allclose(tree.patristic_matrix(list("12345678")), wanted, atol=1e-12)


def test_five_taxa_of_the_emboss_manual():
    """The worked example of eneighbor in the EMBOSS manual: distances and the neighbour-joining tree."""
    tree = parse_newick("(Gamma:1,(Delta:0.5,Epsilon:0.5):1.5,(Alpha:0.5,Beta:0.5):0.5);")
    wanted = full([[1, 2, 3, 3], [2, 3, 3], [3, 3], [1]])
    np.testing.assert_allclose(
        tree.patristic_matrix(["Alpha", "Beta", "Gamma", "Delta", "Epsilon"]), wanted, atol=1e-12
    )


@pytest.mark.shared
@pytest.mark.parametrize(
    ("pair", "distance"),
    [
        ("coccineus dasyacanthus", 2.6427),
        ("coccineus triglochidiatus", 0.3457),
        ("coccineus arizonicus", 0.3457),
        ("coccineus polyacanthus", 0.1928),
        ("coccineus reichenbachii", 2.3076),
        ("pulchellus viereckii", 4.4101),
        ("coccineus pentalophus", 5.0067),
        ("poselgeri leucanthus", 5.0067),
    ],
)
def test_echinocereus(shared, pair, distance):
    """Thompson et al. 2026, doi 10.1038/s41597-026-06936-7 (CC BY 4.0): figures computed from it by other means."""
    tree = read_tree(shared / "data" / "trees" / "echinocereus_cactecodb.nwk", unit="My")
    a, b = (f"Echinocereus {epithet}" for epithet in pair.split())
    assert tree.patristic(a, b) == pytest.approx(distance, abs=5.1e-5)


@pytest.mark.shared
@pytest.mark.parametrize(
    ("pair", "distance"),
    [
        ("milii lophogona", 6.010),
        ("milii viguieri", 7.720),
        ("pulcherrima cornastra", 12.206),
        ("pulcherrima cyathophora", 11.715),
        ("characias amygdaloides", 4.126),
        ("mellifera stygiana", 0.921),
        ("esula cyparissias", 2.313),
        ("meloformis polygona", 3.245),
        ("clava bubalina", 1.715),
        ("ingens abyssinica", 1.819),
        ("tithymaloides lomelii", 4.216),
        ("milii resinifera", 22.984),
        ("resinifera meloformis", 40.657),
        ("milii pulcherrima", 33.928),
        ("milii esula", 43.815),
    ],
)
def test_a_large_dated_tree(shared, pair, distance):
    """Smith & Brown 2018, doi 10.1002/ajb2.1019; Jin & Qian 2019, doi 10.1111/ecog.04434: twice the node ages."""
    tree = read_tree(shared / "data" / "trees" / "euphorbia_gbotb.nwk", unit="My")
    a, b = (f"Euphorbia {epithet}" for epithet in pair.split())
    assert tree.patristic(a, b) == pytest.approx(distance, abs=5.1e-4)


@pytest.mark.shared
@pytest.mark.parametrize("group", ["nicotiana", "schiedea"])
def test_tables_beside_trees_say_the_same(shared, group):
    """Distances published beside the trees of two crossing studies, named in their README files."""
    folder = shared / "data" / "crosses" / group
    tree, table = read_tree(folder / "tree.nwk"), read_distances(folder / "distances.csv")
    assert set(table.tips) <= set(tree.tips)
    np.testing.assert_allclose(table.patristic_matrix(), tree.patristic_matrix(table.tips), rtol=0, atol=2e-6)


@pytest.mark.shared
def test_a_large_dated_tree_measures_as_in_dendropy(shared):
    """Node by node up to where the two meet, in another library's own tree."""
    path = shared / "data" / "trees" / "euphorbia_gbotb.nwk"
    tree = read_tree(path, unit="My")
    other = dendropy.Tree.get(path=path, schema="newick", preserve_underscores=True)
    other.calc_node_root_distances()
    leaf = {node.taxon.label: node for node in other.leaf_node_iter()}
    rng = np.random.default_rng(5)
    for _ in range(300):
        a, b = rng.choice(tree.tips, 2, replace=False)
        above = set(leaf[a].ancestor_iter())
        met = next(node for node in leaf[b].ancestor_iter() if node in above)
        expected = leaf[a].root_distance + leaf[b].root_distance - 2 * met.root_distance
        assert tree.patristic(a, b) == pytest.approx(expected, abs=1e-9)


@pytest.mark.shared
def test_subgenera_of_the_large_dated_tree_part_in_the_published_order(shared):
    """Esula first, then Athymalus, then Chamaesyce and Euphorbia: Horn et al. 2012, doi 10.1016/j.ympev.2011.12.022."""
    tree = read_tree(shared / "data" / "trees" / "euphorbia_gbotb.nwk", unit="My")
    esula, athymalus, chamaesyce, euphorbia = (
        f"Euphorbia {name}" for name in ("characias", "meloformis", "pulcherrima", "milii")
    )
    last, middle, first = (tree.patristic_from(euphorbia, [other])[0] for other in (chamaesyce, athymalus, esula))
    assert last < middle < first
    assert tree.patristic(chamaesyce, athymalus) == pytest.approx(middle, abs=1e-4)
    assert tree.patristic(athymalus, esula) == pytest.approx(first, abs=1e-4)
