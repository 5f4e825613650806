from __future__ import annotations

import io

import dendropy
import numpy as np
import pytest
from Bio import Phylo
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.ground.errors import BadInput, Place, UnknownName, WrongUse
from crosscompat.phylogeny.formats import MOST, TreeSample, mean_distance, read_sample, read_tree, read_trees
from crosscompat.phylogeny.newick import parse_newick, parse_newicks

NEXUS = """#NEXUS
begin taxa; dimensions ntax=3; taxlabels A_x 'B y' a_x; end;
begin trees;
  translate 1 A_x, 2 'B y', 3 a_x;
  tree one = [&R] ((1:1,2:2)95:1,3:3);
  tree two = [&U] ((1:1,3:2)name:1,2:-3);
end;
"""

PHYLOXML = """<?xml version="1.0" encoding="UTF-8"?>
<phyloxml xmlns="http://www.phyloxml.org"><phylogeny rooted="true" branch_length_unit="My"><clade>
<clade><branch_length>1</branch_length><confidence type="bootstrap">95</confidence>
<clade branch_length="1.5"><name>A_x</name></clade>
<clade branch_length="2"><taxonomy><scientific_name>B y</scientific_name></taxonomy></clade></clade>
<clade branch_length="3"><name>a_x</name></clade></clade></phylogeny></phyloxml>
"""


@pytest.fixture
def write(tmp_path):
    def put(content, name="tree.txt"):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    return put


def faults_of(path, **how):
    with pytest.raises(BadInput) as caught:
        read_tree(path, **how)
    return caught.value.faults


@pytest.mark.parametrize("bom", [b"", b"\xef\xbb\xbf"])
def test_the_content_tells_the_format_and_not_the_name(write, bom):
    assert read_tree(write(bom + b"(a:1,b:2);", "tree.nex")).tips == ("a", "b")
    assert read_tree(write(bom + NEXUS.encode(), "tree.nwk"), index=0).tips == ("A_x", "B y", "a_x")
    assert read_tree(write(bom + PHYLOXML.encode(), "tree.nwk")).tips == ("A_x", "B y", "a_x")


def test_nexus_keeps_labels_support_names_and_rooting(write):
    one, two = read_trees(write(NEXUS))
    assert one.labels == ("A_x", "B y", "", "a_x", "")
    assert np.array_equal(one.support, [np.nan, np.nan, 95, np.nan, np.nan], equal_nan=True)
    assert one.length[:-1].tolist() == [1, 2, 1, 3]
    assert (one.rooted, two.rooted) == (True, False)
    assert two.labels == ("A_x", "a_x", "name", "B y", "")
    assert two.patristic("A x", "B_y") == -1


def test_nexus_without_a_mark_says_nothing_of_rooting(write):
    assert read_tree(write("#NEXUS\nbegin trees; tree t = (a:1,b:2); end;")).rooted is None


@pytest.mark.parametrize("text", [NEXUS, "(a:1,b:2);(c:1,d:2);"])
def test_several_trees_need_a_choice(write, text):
    path = write(text)
    (fault,) = faults_of(path)
    assert fault.what.startswith("The file holds 2 trees")
    assert "index=1" in fault.advice
    assert read_tree(path, index=-1).fingerprint == read_trees(path)[1].fingerprint
    with pytest.raises(WrongUse):
        read_tree(path, index=2)


def test_phyloxml_keeps_unit_support_and_scientific_names(write):
    tree = read_tree(write(PHYLOXML))
    assert (tree.unit, tree.rooted) == ("My", True)
    assert tree.support[2] == 95
    assert tree.patristic("A x", "B y") == 3.5
    assert read_tree(write(PHYLOXML), unit="Ma").unit == "Ma"
    assert read_tree(write(PHYLOXML), unit="unit").patristic("A x", "B y") == 2


@pytest.mark.parametrize("seed", range(3))
def test_other_formats_written_by_their_libraries_give_the_same_tree(seed, grow, write):
    text = grow(seed, 20, single=False).newick()
    ours = parse_newick(text)
    other = dendropy.Tree.get(data=text, schema="newick", preserve_underscores=True, suppress_internal_node_taxa=True)
    nexus = read_tree(write(other.as_string("nexus", suppress_rooting=True)))
    assert nexus.fingerprint == ours.fingerprint
    buffer = io.StringIO()
    Phylo.write(Phylo.read(io.StringIO(text), "newick"), buffer, "phyloxml")
    xml = read_tree(write(buffer.getvalue()))
    np.testing.assert_allclose(xml.patristic_matrix(ours.tips), ours.patristic_matrix(), atol=1e-9)


@pytest.mark.parametrize(
    ("tree", "words", "shown"),
    [
        ("(A:1,(B:1,C):1)", "no length", "C"),
        ("(A:1,(B:1,C:1))", "no length", ")"),
        ("(A:nan,B:1)", "no length", "A"),
        ("(A:inf,B:1)", "“inf”", "inf"),
        ("(A:1,5,B:1)", "decimal comma", "5"),
        ("(A:1,,B:1)", "no name", ","),
        ("('A x':1,A_x:1)", "same name", "A_x"),
        ("(A,(B,C))", "No branch", "A"),
    ],
)
def test_nexus_meets_the_rules_of_newick(write, tree, words, shown):
    (fault,) = faults_of(write(f"#NEXUS\nbegin trees;\ntree t = {tree};\nend;"))
    assert words in fault.what
    assert fault.excerpt[slice(*fault.mark)] == shown
    assert fault.place == Place("tree.txt")


def test_a_fault_says_in_which_tree_it_is(write):
    (fault,) = faults_of(write(NEXUS.replace("3:3", "3")), index=0)
    assert fault.what.startswith("tree 0: The branch that leads here has no length")
    assert fault.excerpt[slice(*fault.mark)] == "a_x"
    assert read_tree(write(NEXUS.replace("3:3", "3")), index=1).n_tips == 3


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (NEXUS.replace("1:1", "1:x"), "Invalid edge length"),
        (NEXUS.replace("(1:1,2", "(1:1,1"), "“A_x” is in the tree twice"),
        ("#NEXUS\nbegin data; end;", "holds no tree"),
        (PHYLOXML.replace('"2"', '"x"'), "phyloXML file cannot be read"),
        (PHYLOXML.replace('"2"', '"inf"'), "“inf”"),
        (PHYLOXML.replace(' branch_length="3"', ""), "no length"),
        (PHYLOXML.replace("B y", "A x"), "same name"),
        (PHYLOXML[:200], "phyloXML file cannot be read"),
        ('<?xml version="1.0"?><nexml/>', "not phyloXML"),
        ('<phyloxml xmlns="http://www.phyloxml.org"></phyloxml>', "holds no tree"),
        (PHYLOXML.encode("utf-16"), "UTF-16"),
        ("#NEXUS\nbegin trees; tree t = (\xe9:1,b:2); end;".encode("latin-1"), "not UTF-8"),
    ],
)
def test_faults_of_other_formats_are_told(write, content, words):
    (fault,) = faults_of(write(content), index=0)
    assert words in fault.what
    assert fault.place.file == "tree.txt"
    assert fault.advice


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("A_x 'B y'", "A_x [ 'B y'", "comment"),
        (")name:1", ")'name:1", "quot"),
        ("a_x; end;", "a_x; nend;", "“end;” is missing"),
        ("a_x; end;", "a_x; ", "“end;” is missing"),
        ("2:-3);\nend;", "2:-3);", "“end;” is missing"),
    ],
)
def test_what_never_ends_in_nexus_is_refused_at_once(write, old, new, words):
    assert NEXUS.count(old) == 1
    (fault,) = faults_of(write(NEXUS.replace(old, new)), index=0)
    assert words in fault.what
    assert fault.place.file == "tree.txt"


def test_comments_and_apostrophes_in_nexus_change_nothing(write):
    text = NEXUS.replace("begin trees;", "begin trees; [it's [one] begin] ").replace("A_x", "O'Brien_x")
    assert read_tree(write(text), index=0).tips == ("O'Brien_x", "B y", "a_x")


def test_too_many_levels_for_a_library_are_told(write, comb):
    (fault,) = faults_of(write(f"#NEXUS\nbegin trees;\ntree t = {comb(5_000)}\nend;"))
    assert "more levels" in fault.what
    deep = "<clade>" * 3_000 + "</clade>" * 3_000
    content = f'<phyloxml xmlns="http://www.phyloxml.org"><phylogeny rooted="true">{deep}</phylogeny></phyloxml>'
    (fault,) = faults_of(write(content))
    assert "more levels" in fault.what


def test_a_file_that_is_not_there_or_a_folder_is_told(tmp_path):
    (fault,) = faults_of(tmp_path / "none.nwk")
    assert fault.what == "There is no such file."
    (fault,) = faults_of(tmp_path)
    assert "folder" in fault.what


SAMPLE_NEXUS = """#NEXUS
BEGIN TREES;
  TRANSLATE 1 Aus_bus, 2 Aus_cus, 3 Aus_dus;
  TREE STATE_0 = [&R] ((1:1,2:1):1,3:2);
  TREE STATE_1 = [&R] ((1:1,3:1):1,2:2);
  TREE STATE_2 = [&R] ((1:2,2:2):2,3:4);
END;
"""


@pytest.fixture
def read(tmp_path):
    def read(text, name="posterior.nex"):
        (tmp_path / name).write_text(text, encoding="utf-8")
        return read_sample(tmp_path / name, unit="My")

    return read


def test_a_posterior_in_nexus_gives_distances_with_their_spread(read):
    """By hand: the third tree is the first at twice the pace, so it counts as the first."""
    sample = read(SAMPLE_NEXUS)
    assert len(sample.trees) == 3
    assert sample.trees[0].unit == "My"
    scaled = 40 / 9 / (10 / 3)  # the mean of the mean distances 10/3, 10/3 and 20/3, over the first
    mean, sd = sample.of_pairs(["Aus bus", "Aus_bus", "Aus cus"], ["Aus cus", "Aus_dus", "Aus dus"])
    assert mean == pytest.approx(np.array([(2 + 4 + 2) / 3, (4 + 2 + 4) / 3, 4]) * scaled)
    assert sd == pytest.approx(np.array([np.std([2, 4, 2]), np.std([4, 2, 4]), 0]) * scaled)


def test_trees_that_agree_leave_nothing_unsure(read):
    mean, sd = read("((a:1,b:1):1,c:2);((a:3,b:3):3,c:6);", "two.nwk").of_pairs(["a", "c"], ["b", "c"])
    assert mean.tolist() == pytest.approx([4, 0])
    assert sd.tolist() == pytest.approx([0, 0], abs=1e-12)


def test_a_name_that_no_tree_holds_is_told(read):
    with pytest.raises(UnknownName):
        read(SAMPLE_NEXUS).of_pairs(["Aus bus"], ["Aus zus"])


def test_every_tree_that_does_not_belong_is_named(read):
    with pytest.raises(BadInput) as caught:
        read("(a:1,b:1,c:1);(a:1,b:1,d:1);(a:0,b:0,c:0);(a:1,b:1);", "odd.nwk")
    told = [fault.what for fault in caught.value.faults]
    assert len(told) == 3
    assert "Tree 1 of the sample" in told[0]
    assert "c, d" in told[0]
    assert "Tree 3" in told[1]
    assert "tree 2" in told[2]


def test_one_tree_is_no_sample(read):
    with pytest.raises(BadInput, match="only one tree"):
        read("(a:1,b:1,c:1);", "one.nwk")


def test_a_long_sample_is_thinned_evenly(read):
    texts = [f"(a:{i + 1},b:1,c:1);" for i in range(3 * MOST)]
    sample = read("".join(texts), "long.nwk")
    firsts = [tree.length[0] for tree in sample.trees]
    assert len(firsts) == MOST
    assert (firsts[0], firsts[-1]) == (1, 3 * MOST)
    assert set(np.diff(firsts)) <= {3, 4, 2}


def random_newick(rng, tips):
    parts = [f"t{i}" for i in range(tips)]
    while len(parts) > 1:
        i, j = sorted(rng.choice(len(parts), 2, replace=False))
        right, left = parts.pop(j), parts.pop(i)
        parts.append(f"({left}:{rng.uniform(0.1, 1):.4f},{right}:{rng.uniform(0.1, 1):.4f})")
    return f"{parts[0]};"


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.integers(2, 8), st.integers(2, 6))
def test_it_is_what_averaging_scaled_matrices_gives(seed, tips, trees):
    rng = np.random.default_rng(seed)
    sample = TreeSample(parse_newicks("".join(random_newick(rng, tips) for _ in range(trees))))
    names = [f"t{i}" for i in range(tips)]
    tables = np.array([tree.patristic_matrix(names) for tree in sample.trees])
    upper = np.triu_indices(tips, 1)
    means = np.array([table[upper].mean() for table in tables])
    assert [mean_distance(tree) for tree in sample.trees] == pytest.approx(means)
    scaled = tables * (means.mean() / means)[:, None, None]
    mean, sd = sample.of_pairs([names[i] for i in upper[0]], [names[j] for j in upper[1]])
    assert mean == pytest.approx(scaled.mean(axis=0)[upper])
    assert sd == pytest.approx(scaled.std(axis=0)[upper], abs=1e-7)


def test_a_mean_distance_counts_no_branch_of_the_root():
    assert mean_distance(parse_newick("(a:1,b:2):50;")) == 3
