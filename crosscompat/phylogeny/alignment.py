"""Aligned sequences (FASTA), and how far apart they stand."""

from __future__ import annotations

from dataclasses import dataclass, field
from os import PathLike

import numpy as np

from crosscompat.ground.errors import BadInput, Fault, Place
from crosscompat.ground.names import fold
from crosscompat.phylogeny.postorder import Floats
from crosscompat.phylogeny.text_source import SHOWN, Source, capped, file_content, told

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
    line: int
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
    source = Source.of(*file_content(path))
    faults: list[Fault] = []
    read = _sequences(source, faults)
    faults += _odd(read, source.file)
    if not faults and len(read) < _FEWEST:
        faults.append(told("alignment", "few", Place(source.file), n=len(read)))
    if faults:
        raise BadInput(sorted(faults, key=lambda fault: fault.place.line or 0))
    letters = np.frombuffer(b"".join(bytes(one.letters) for one in read), dtype=np.uint8).reshape(len(read), -1)
    codes = np.full(256, len(_KNOWN), dtype=np.uint8)
    codes[np.frombuffer(_KNOWN, dtype=np.uint8)] = np.arange(len(_KNOWN))
    return Alignment(tuple(one.name for one in read), codes[letters])


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
    alike = sum(one @ one.T for one in ((alignment.sites == code).astype(np.float64) for code in range(len(_KNOWN))))
    differ = 1.0 - np.divide(alike, compared, out=np.ones_like(compared), where=compared > 0)
    np.fill_diagonal(differ, 0.0)
    _refuse(alignment.names, compared, differ)
    distances: Floats = -_CHANCE * np.log1p(-differ / _CHANCE) + 0.0
    return distances


def _sequences(source: Source, faults: list[Fault]) -> list[_Sequence]:
    read: list[_Sequence] = []
    for number, line in enumerate(source.data.splitlines(), 1):
        text = line.strip()
        if text.startswith(b">"):
            name = " ".join(text[1:].decode("utf-8").split())
            if not name:
                faults.append(told("alignment", "no_name", Place(source.file, line=number)))
            read.append(_Sequence(name, number))
        elif text and not read:
            raise BadInput([told("alignment", "no_fasta", Place(source.file, line=number))])
        elif text:
            letters = b"".join(text.upper().replace(b"U", b"T").split())
            strange = letters.translate(None, _KNOWN + _DOUBTFUL)
            if strange:
                got, place = strange.decode("utf-8", "replace")[0], Place(source.file, line=number)
                faults.append(told("alignment", "no_nucleotide", place, got=got, name=read[-1].name))
            read[-1].letters += letters
    if not read:
        raise BadInput([told("alignment", "no_fasta", Place(source.file))])
    return read


def _odd(read: list[_Sequence], file: str | None) -> list[Fault]:
    """Return what is wrong with whole sequences: empty, of another length than the first, or there already."""
    faults: list[Fault] = []
    first: dict[str, int] = {}
    for one in read:
        place = Place(file, line=one.line)
        before = first.setdefault(fold(one.name), one.line)
        if one.name and before != one.line:
            faults.append(told("alignment", "twice", place, name=one.name, first=before))
        if not one.letters:
            faults.append(told("alignment", "no_letters", place, name=one.name))
        elif len(one.letters) != len(read[0].letters):
            wanted = len(read[0].letters)
            faults.append(told("alignment", "uneven", place, name=one.name, got=len(one.letters), wanted=wanted))
    return faults


def _refuse(names: tuple[str, ...], compared: Floats, differ: Floats) -> None:
    """Raise for pairs whose distance cannot be told."""
    faults: list[Fault] = []
    apart = np.argwhere(np.triu(compared == 0, 1))
    beyond = np.argwhere(np.triu((differ >= _CHANCE) & (compared > 0), 1))
    for key, pairs in (("nothing_shared", apart), ("saturated", beyond)):
        shown = [
            told("alignment", key, Place(), a=names[i], b=names[j], share=f"{differ[i, j]:.0%}")
            for i, j in pairs[:SHOWN].tolist()
        ]
        faults += capped(shown, len(pairs), f"alignment.{key}", None)
    if faults:
        raise BadInput(faults)
