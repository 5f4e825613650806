"""Aligned sequences (FASTA), and how far apart they stand."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import partial
from os import PathLike

import numpy as np

from crosscompat.ground.errors import BadInput, Fault, Place
from crosscompat.ground.names import fold
from crosscompat.phylogeny.text_source import TextSource, file_content, first_faults, worded
from crosscompat.phylogeny.types import Floats

__all__ = ["UNIT", "Alignment", "jukes_cantor", "read_alignment"]

UNIT = "substitutions per site"

_KNOWN = b"ACGT"
_DOUBTFUL = b"RYSWKMBDHVNX-?.~"
_CHANCE = 0.75
_FEWEST = 3


@dataclass(frozen=True, slots=True)
class Alignment:
    """Sequences of one length.

    Attributes
    ----------
    names : tuple of k str
        As written behind the > of each.
    sites : (k, m) uint8 array
        0 to 3 for A, C, G, T; 4 for everything that is not known.
    """

    names: tuple[str, ...]
    sites: np.ndarray[tuple[int, int], np.dtype[np.uint8]]


@dataclass(slots=True)
class _Sequence:
    name: str
    place: Place
    letters: bytearray = field(default_factory=bytearray)


def read_alignment(path: str | PathLike[str]) -> Alignment:
    r"""Read aligned nucleotides from a FASTA file.

    Parameters
    ----------
    path : path
        UTF-8. The whole line behind > is the name. U counts as T; gaps and letters that stand for several nucleotides
        count as not known.

    Raises
    ------
    BadInput
        With every fault: names that are empty or come twice, sequences of unequal length, letters that are none.

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
    if not faults and len(sequences) < _FEWEST:
        faults.append(worded("alignment", "few", Place(source.file), n=len(sequences)))
    if faults:
        raise BadInput(sorted(faults, key=lambda fault: fault.place.line or 0))
    letters = np.frombuffer(b"".join(entry.letters for entry in sequences), dtype=np.uint8)
    codes = np.full(256, len(_KNOWN), dtype=np.uint8)
    codes[np.frombuffer(_KNOWN, dtype=np.uint8)] = np.arange(len(_KNOWN))
    return Alignment(tuple(entry.name for entry in sequences), codes[letters].reshape(len(sequences), -1))


def jukes_cantor(alignment: Alignment) -> Floats:
    """Return the distances of sequences in substitutions per site.

    Parameters
    ----------
    alignment : Alignment
        Sites that are not known in either of two sequences are passed over for those two.

    Returns
    -------
    (k, k) float array

    Raises
    ------
    BadInput
        If two sequences share no known site, or differ at three quarters of them or more.

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
    known = (alignment.sites < len(_KNOWN)).astype(np.float64)
    compared = known @ known.T
    alike = sum(
        match @ match.T for match in ((alignment.sites == code).astype(np.float64) for code in range(len(_KNOWN)))
    )
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
            read.append(_Sequence(" ".join(text[1:].decode("utf-8").split()), place))
        elif text and read:
            letters = b"".join(text.upper().replace(b"U", b"T").split())
            strange = letters.translate(None, _KNOWN + _DOUBTFUL).decode("utf-8", "replace")
            if strange:
                faults.append(worded("alignment", "no_nucleotide", place, got=strange[0], name=read[-1].name))
            read[-1].letters += letters
        elif text:
            raise BadInput([worded("alignment", "no_fasta", place)])
    if not read:
        raise BadInput([worded("alignment", "no_fasta", Place(source.file))])
    return read


def _unfit(sequences: list[_Sequence]) -> list[Fault]:
    """Return what is wrong with whole sequences: no name, one twice, no letters, another length than the first."""
    faults: list[Fault] = []
    first: dict[str, int | None] = {}
    wanted = len(sequences[0].letters)
    for entry in sequences:
        name, place, size = entry.name, entry.place, len(entry.letters)
        before = first.setdefault(fold(name), place.line)
        if not name:
            faults.append(worded("alignment", "no_name", place))
        elif before != place.line:
            faults.append(worded("alignment", "twice", place, name=name, first=before))
        if size != wanted or not size:
            key = "uneven" if size else "no_letters"
            faults.append(worded("alignment", key, place, name=name, got=size, wanted=wanted))
    return faults


def _refuse(names: tuple[str, ...], compared: Floats, differ: Floats) -> None:
    """Raise for pairs whose distance cannot be told."""
    apart = compared == 0

    def fault(key: str, pair: list[int]) -> Fault:
        a, b = pair
        return worded("alignment", key, Place(), a=names[a], b=names[b], share=f"{differ[a, b]:.0%}")

    faults: list[Fault] = []
    for key, pairs in (("nothing_shared", apart), ("saturated", (differ >= _CHANCE) & ~apart)):
        unfit = np.argwhere(np.triu(pairs, 1)).tolist()
        faults += first_faults(unfit, partial(fault, key), f"alignment.{key}", None)
    if faults:
        raise BadInput(faults)
