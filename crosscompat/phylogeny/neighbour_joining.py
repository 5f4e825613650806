"""A rooted tree from aligned sequences (FASTA), or from distances: neighbour joining, and where the root is put."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from os import PathLike
from typing import NamedTuple, TypeAlias

import numpy as np

from crosscompat.ground.errors import BadInput, Fault, Place, WrongUse, first_faults, worded
from crosscompat.ground.names import fold
from crosscompat.ground.wording import say
from crosscompat.phylogeny.text_source import TextSource, file_content
from crosscompat.phylogeny.tree import Phylogeny
from crosscompat.phylogeny.tree_arrays import Floats, in_postorder

UNIT = "substitutions per site"

MOST = 2_000
"""So many species are joined at most: in about half a minute."""

_KNOWN = b"ACGT"
_DOUBTFUL = b"RYSWKMBDHVNX-?.~"
_CHANCE = 0.75
_FEWEST = 3

_Sequence: TypeAlias = tuple[str, Place, bytearray]
"""A name, where it stands, and the letters."""


class Alignment(NamedTuple):
    """Sequences of one length: k names as written behind the >, and sites as a (k, m) array.

    A site is 0 to 3 for A, C, G, T; 4 for everything that is not known.
    """

    names: tuple[str, ...]
    sites: np.ndarray[tuple[int, int], np.dtype[np.uint8]]


def read_alignment(path: str | PathLike[str]) -> Alignment:
    r"""Read aligned nucleotides from a FASTA file in UTF-8; the whole line behind > is the name.

    U counts as T; gaps and letters that stand for several nucleotides count as not known.

    Raises
    ------
    BadInput
        With every fault: names that are empty or come twice, sequences of unequal length, letters that are none; or if
        there are fewer than three sequences, or more than `MOST`.

    Examples
    --------
    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     path = Path(folder, "its.fasta")
    ...     _ = path.write_text(">Aloe vera\nACGT\n>Aloe ferox\nAC\nGA\n>Aloe africana\nac-n\n")
    ...     alignment = read_alignment(path)
    >>> alignment.sites.tolist()
    [[0, 1, 2, 3], [0, 1, 2, 0], [0, 1, 4, 4]]
    """
    source = TextSource.of(*file_content(path))
    faults: list[Fault] = []
    sequences = _sequences(source, faults)
    faults += _unfit(sequences)
    if not faults and not _FEWEST <= len(sequences) <= MOST:
        key = "few" if len(sequences) < _FEWEST else "many"
        faults.append(worded("alignment", key, Place(source.file), n=len(sequences), most=MOST))
    if faults:
        raise BadInput(sorted(faults, key=lambda fault: fault.place.line or 0))
    codes = np.full(256, len(_KNOWN), dtype=np.uint8)
    codes[np.frombuffer(_KNOWN, dtype=np.uint8)] = np.arange(len(_KNOWN))
    letters = np.frombuffer(b"".join(letters for _, _, letters in sequences), dtype=np.uint8)
    return Alignment(tuple(name for name, _, _ in sequences), codes[letters].reshape(len(sequences), -1))


def jukes_cantor(alignment: Alignment) -> Floats:
    """Return the distances of k sequences in substitutions per site, as a (k, k) array.

    Sites that are not known in either of two sequences are passed over for those two; a `BadInput` says that they share
    no known site, or differ at three quarters of them or more.

    Notes
    -----
    d = -3/4 ln(1 - 4p/3), p the share of sites that differ: Jukes TH, Cantor CR (1969). Evolution of protein molecules.
    In: Mammalian protein metabolism III, 21-132.

    Examples
    --------
    >>> pair = Alignment(("a", "b"), np.array([[0, 1, 2, 3, 0], [0, 1, 2, 0, 4]], dtype=np.uint8))
    >>> jukes_cantor(pair).round(4).tolist()  # one of four sites: 3/4 ln 3/2
    [[0.0, 0.3041], [0.3041, 0.0]]
    """
    matches = [(alignment.sites == code).astype(np.float64) for code in range(len(_KNOWN))]
    known = np.sum(matches, axis=0)
    compared, alike = known @ known.T, sum(match @ match.T for match in matches)
    differ = 1.0 - np.divide(alike, compared, out=np.ones_like(compared), where=compared > 0)
    np.fill_diagonal(differ, 0.0)
    _refuse(alignment.names, compared, differ)
    distances: Floats = -_CHANCE * np.log1p(-differ / _CHANCE) + 0.0
    return distances


def _sequences(source: TextSource, faults: list[Fault]) -> list[_Sequence]:
    read: list[_Sequence] = []
    for number, line in enumerate(source.data.splitlines(), 1):
        text, place = line.strip(), Place(source.file, line=number)
        if text.startswith(b">"):
            read.append((" ".join(text[1:].decode("utf-8").split()), place, bytearray()))
        elif text and read:
            letters = b"".join(text.upper().replace(b"U", b"T").split())
            strange = letters.translate(None, _KNOWN + _DOUBTFUL).decode("utf-8", "replace")
            if strange:
                faults.append(worded("alignment", "no_nucleotide", place, got=strange[0], name=read[-1][0]))
            read[-1][2].extend(letters)
        elif text:
            raise BadInput([worded("alignment", "no_fasta", place)])
    if not read:
        raise BadInput([worded("alignment", "no_fasta", Place(source.file))])
    return read


def _unfit(sequences: list[_Sequence]) -> list[Fault]:
    """Return what is wrong with whole sequences: no name, one twice, no letters, another length than the first."""
    faults: list[Fault] = []
    first: dict[str, int | None] = {}
    wanted = len(sequences[0][2])
    for name, place, letters in sequences:
        before = first.setdefault(fold(name), place.line)
        if not name:
            faults.append(worded("alignment", "no_name", place))
        elif before != place.line:
            faults.append(worded("alignment", "twice", place, name=name, first=before))
        if len(letters) != wanted or not letters:
            key = "uneven" if letters else "no_letters"
            faults.append(worded("alignment", key, place, name=name, got=len(letters), wanted=wanted))
    return faults


def _refuse(names: tuple[str, ...], compared: Floats, differ: Floats) -> None:
    """Raise for pairs whose distance cannot be told."""
    apart = compared == 0

    def fault(key: str, pair: list[int]) -> Fault:
        a, b = pair
        return worded("alignment", key, Place(), a=names[a], b=names[b], share=f"{differ[a, b]:.0%}")

    faults: list[Fault] = []
    for key, pairs in (("nothing_shared", apart), ("saturated", (differ >= _CHANCE) & ~apart)):
        faults += first_faults(np.argwhere(np.triu(pairs, 1)).tolist(), partial(fault, key), f"alignment.{key}", None)
    if faults:
        raise BadInput(faults)


def neighbour_joining(
    names: Sequence[str], distances: Floats, *, outgroup: Sequence[str] = (), unit: str | None = None
) -> Phylogeny:
    """Join species to a tree, nearest neighbours first, and root it.

    ``distances`` (k, k) of ``names`` (k,), three at least, are symmetric and known throughout, in ``unit``. The root is
    put on an ``outgroup`` of species that parted first (`root_on_outgroup`, errors as there), or at the midpoint
    (`root_at_midpoint`). A branch whose length comes out below zero is set to zero (common practice, no source).

    Raises
    ------
    BadInput
        If there are more than `MOST` species: the time grows with the cube of their number.

    Notes
    -----
    Saitou N, Nei M (1987). The neighbor-joining method. Molecular Biology and Evolution 4:406-425; lengths as in
    Studier JA, Keppler KJ (1988), 5:729-731. Of 200 species Biopython 1.88 takes 3 s, DendroPy 5.1 0.4 s and this
    0.01 s, with one answer; among equal distances DendroPy chooses by the order of a set, so not twice the same.

    Examples
    --------
    >>> apart = np.array([[0.0, 5, 9, 9], [5, 0, 10, 10], [9, 10, 0, 8], [9, 10, 8, 0]])
    >>> tree = neighbour_joining(["a", "b", "c", "d"], apart, outgroup=["b"])
    >>> tree.patristic("a", "c"), tree.clade("a", "c").size
    (9.0, 3)
    """
    if len(names) > MOST:
        raise BadInput([worded("alignment", "many", Place(), n=len(names), most=MOST)])
    inside = _join(np.array(distances, dtype=np.float64))
    nodes, parent = in_postorder((max(inside), np.nan), lambda node: inside.get(node[0], []))
    labels = [names[node] if node < len(names) else "" for node, _ in nodes]
    tree = Phylogeny.from_arrays(parent, [max(length, 0.0) for _, length in nodes[:-1]] + [np.nan], labels, unit=unit)
    return root_on_outgroup(tree, outgroup) if outgroup else root_at_midpoint(tree)


def _join(apart: Floats) -> dict[int, list[tuple[int, float]]]:
    """Return what each new node holds, and the lengths of those branches; (k, k) ``apart`` is used up.

    New nodes are numbered from k; the last one holds the three branches that are left.
    """
    size = len(apart)
    nodes = list(range(size))
    inside: dict[int, list[tuple[int, float]]] = {}
    for left in range(size, _FEWEST, -1):
        part = apart[:left, :left]
        total = part.sum(axis=1)
        nearness = part * (left - 2) - total - total[:, None]
        np.fill_diagonal(nearness, np.inf)
        i, j = sorted(divmod(int(nearness.argmin()), left))
        length = float(part[i, j] + (total[i] - total[j]) / (left - 2)) / 2
        inside[2 * size - left] = [(nodes[i], length), (nodes[j], float(part[i, j]) - length)]
        part[i] = part[:, i] = (part[i] + part[j] - part[i, j]) / 2
        part[j] = part[:, j] = part[-1]
        part[[i, j], [i, j]] = 0.0
        nodes[i], nodes[j] = 2 * size - left, nodes[left - 1]
    half = apart[:_FEWEST, :_FEWEST].sum() / 4
    lengths = [float(half - apart[(k + 1) % 3, (k + 2) % 3]) for k in range(_FEWEST)]
    inside[2 * size - _FEWEST] = list(zip(nodes[:_FEWEST], lengths, strict=True))
    return inside


def root_at_midpoint(tree: Phylogeny) -> Phylogeny:
    """Root a tree without negative lengths halfway between the two tips farthest apart.

    Names of inner nodes and support are dropped: they may mean nothing from elsewhere. Farris JS (1972). Estimating
    phylogenetic trees from distance matrices. American Naturalist 106:645-668.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> tree = root_at_midpoint(parse_newick("(a:1,b:1,c:5);"))
    >>> tree.root_distance[tree.tip_nodes].tolist(), tree.patristic("a", "b")
    ([3.0, 3.0, 3.0], 2.0)
    """
    end = int(np.argmax(tree.patristic_from(tree.tips[0])))
    apart = tree.patristic_from(tree.tips[end])
    if apart.max() <= 0:
        return tree
    # Halfway lies above the end that is farther from the present root, and not beyond that root.
    ends = tree.tip_nodes[[end, int(np.argmax(apart))]]
    node = int(ends[np.argmax(tree.root_distance[ends])])
    left = float(apart.max()) / 2
    while left > tree.length[node] and tree.parent[node] != tree.n_nodes - 1:
        left -= float(tree.length[node])
        node = int(tree.parent[node])
    return _rooted_above(tree, node, left)


def root_on_outgroup(tree: Phylogeny, outgroup: Sequence[str]) -> Phylogeny:
    """Root a tree in the middle of the branch that parts some species from all others, wherever it is rooted now.

    Raises `UnknownName`, or `WrongUse` if the outgroup is all species, or is mixed with others.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> tree = root_on_outgroup(parse_newick("(a:1,b:1,(c:1,d:1):2);"), ["a", "b"])
    >>> tree.clade("a", "b").size, tree.clade("c", "d").size, tree.patristic("a", "c")
    (2, 2, 4.0)
    """
    away = {tree.index.resolve(name) for name in outgroup}
    others = [tip for tip in tree.tips if tip not in away]
    if not others:
        raise WrongUse(say("alignment.outgroup.whole"))
    for side in (away, others):
        node = tree.mrca(side)
        if tree.tips_under(node).size == len(side):
            return _rooted_above(tree, node)
    raise WrongUse(say("alignment.outgroup.mixed", names=", ".join(sorted(map(fold, away)))))


def _rooted_above(tree: Phylogeny, node: int, height: float | None = None) -> Phylogeny:
    """Return the tree with its root on the branch over a node, so high above it; by default in the middle."""
    top, new = tree.n_nodes - 1, tree.n_nodes
    branches = dict(enumerate(zip(tree.parent[:-1].tolist(), tree.length[:-1].tolist(), strict=True)))
    at_root = sorted((end for end, (above, _) in branches.items() if above == top), key=lambda end: end != node)
    if len(at_root) == 2:  # noqa: PLR2004 - two branches at the root are one
        lower, upper = at_root
        branches[lower] = upper, branches.pop(lower)[1] + branches.pop(upper)[1]
    upper, length = branches.pop(node)
    below = length / 2 if height is None else min(height, length)
    beside: dict[int, list[tuple[int, float]]] = {}
    edges = [(end, *branch) for end, branch in branches.items()]
    for a, b, apart in [*edges, (node, new, below), (upper, new, length - below)]:
        beside.setdefault(a, []).append((b, apart))
        beside.setdefault(b, []).append((a, apart))

    def away(here: tuple[int, int, float]) -> list[tuple[int, int, float]]:
        return [(there, here[0], apart) for there, apart in beside[here[0]] if there != here[1]]

    nodes, parent = in_postorder((new, -1, np.nan), away)
    names = dict(zip(tree.tip_nodes.tolist(), tree.tips, strict=True))
    labels = [names.get(number, "") for number, _, _ in nodes]
    return Phylogeny.from_arrays(parent, [apart for _, _, apart in nodes], labels, unit=tree.unit, rooted=True)
