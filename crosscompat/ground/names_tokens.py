"""The words and signs of a plant's name, before they are put together."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from typing import NamedTuple

__all__ = [
    "QUALIFIERS",
    "Token",
    "bare_word",
    "fold",
    "is_author",
    "is_epithet",
    "is_genus",
    "is_lower",
    "is_short",
    "loose_keys",
    "rank",
    "stem",
    "tokenise",
    "written_alike",
]

_TOKEN = re.compile(
    r"""(?<![^\s(×✕])['‘’‛`´](?P<cultivar>[^\s'‘’‛`´](?:.*?[^\s])??)['’`´](?=[\s),;×✕]|$)
    | (?<![^\s(×✕])["“„](?P<trade>[^"“”„\s'‘’‛`´][^"“”„]*)["”“](?=[\s),;×✕]|$)
    | (?<![^\s(×✕])(?P<initials>[A-Z]{1,5}|[A-Z][a-z]{1,2})[\ -]?
        (?P<number>\d{1,6}(?:[./-]\d{1,5})?[a-z]?)(?=[\s),;×✕]|$)
    | (?P<sign>[×✕()♀♂]|(?<![^\s(])\+)
    | (?P<word>[^\s×✕()♀♂]+)""",
    re.VERBOSE,
)
# No Latin word begins with x and one of these consonants, so this x is the sign; xanth-, xer-, xiph-, xhosa stay words.
_GLUED = re.compile(r"[xX](?=[A-Z][a-z])|x(?=[bcdfgjklmnpqrstvwz][a-z])")
_SHORT = re.compile(r"[^\W\d_]{1,4}\.|[A-Z]")
_GENUS = re.compile(r"[^\W\d_][^\W\d_-]+(?:-[^\W\d_]+)*")
_EPITHET = re.compile(r"[^\W\d_][^\W\d_]+(?:-[^\W\d_]+)*|[^\W\d_]-[^\W\d_]+")
_YEAR = re.compile(r"(?:17|18|19|20)\d\d")
_RANKS = {
    "subsp": "subsp.", "ssp": "subsp.", "subspecies": "subsp.", "var": "var.", "v": "var.", "variety": "var.",
    "varietas": "var.", "subvar": "subvar.", "f": "f.", "fa": "f.", "fo": "f.", "forma": "f.", "form": "f.",
    "subf": "subf.", "subforma": "subf.",
}  # fmt: skip
QUALIFIERS = {"cf": "cf.", "aff": "aff.", "sp": "sp.", "spec": "sp.", "spp": "sp."}
# Between and after authors, without their points.
_PARTICLE = re.compile(
    r"ex|et|in|and|de|del|della|den|der|des|di|do|du|la|le|van|von|vom|zu|zum|zur|y|e|fil|f|non|nec|emend|hort|al|auct"
    r"|pro|bis|sensu|s\.l|s\.str|s|l|str|lat|agg|nom|nud"
)
_SEPARATORS = re.compile(r"[\s\-_\u2010-\u2015\u2212]+")
_ZEROS = re.compile(r"(?<!\d)0+(?=\d)")


def fold(label: str) -> str:
    """Return the form in which labels are compared: NFC, underscores and runs of blanks as one space, case kept.

    Examples
    --------
    >>> fold("Echinocereus__coccineus ")
    'Echinocereus coccineus'
    """
    if not label.isascii():
        label = unicodedata.normalize("NFC", label)
    return " ".join(label.replace("_", " ").split())


def written_alike(text: str, known: Iterable[str]) -> list[str]:
    """Return the codes, labels or numbers that differ from a text in case, blanks, dashes or leading zeros only.

    Examples
    --------
    >>> written_alike("str-1", ["STR-01", "STR-2"]), written_alike("26–8", ["26-08", "26-18"])
    (['STR-01'], ['26-08'])
    """
    keys = loose_keys(text)
    return [name for name in known if keys & loose_keys(name)] if text.strip() else []


def loose_keys(text: str) -> set[str]:
    """Return a text without blanks and dashes, with its leading zeros and without."""
    lowered = fold(text).casefold()
    return {_SEPARATORS.sub("", key) for key in (lowered, _ZEROS.sub("", lowered))}


class Token(NamedTuple):
    """A piece of a name and what it is."""

    kind: str  # "word", "cultivar", "field", or the sign itself
    text: str


def bare_word(word: str) -> str:
    """Return a word without a hybrid sign stuck to its front: "xroetteri" has one, "xanthocarpus" none."""
    word = word.lstrip("×✕")
    glued = _GLUED.match(word)
    return word[1:] if glued else word


def tokenise(text: str) -> list[Token]:
    """Cut a folded name into words, cultivars, field numbers and signs.

    Examples
    --------
    >>> [token.text for token in tokenise("E. xroetteri 'Red' QX237")]
    ['E.', '×', 'roetteri', 'Red', 'QX 237']
    """
    tokens: list[Token] = []
    for match in _TOKEN.finditer(text):
        parts = match.groupdict()
        quoted = parts["cultivar"] or parts["trade"]
        if quoted:
            tokens.append(Token("cultivar", quoted))
        elif parts["number"]:
            tokens.append(Token("field", f"{parts['initials']} {parts['number']}"))
        elif parts["sign"]:
            sign = parts["sign"].replace("✕", "×")
            tokens.append(Token(sign, sign))
        else:
            tokens += _words(parts["word"])
    return tokens


def _words(word: str) -> list[Token]:
    word = word.strip(",;") or word
    if word in {"x", "X"}:
        return [Token("×", "×")]
    if _GLUED.match(word):
        return [Token("×", "×"), Token("word", word[1:])]
    return [Token("word", word)]


def stem(token: Token) -> str:
    """Return a word without its point, in lower case."""
    return token.text.rstrip(".").lower() if token.kind == "word" else ""


def rank(token: Token) -> str | None:
    """Return a rank as it is printed, "notho" in full (ICN Art. H.3.1 allows "n-")."""
    word = stem(token)
    if word in _RANKS:
        return _RANKS[word]
    for prefix in ("notho-", "notho", "n-", "n"):
        rest = word.removeprefix(prefix)
        if rest != word and rest in _RANKS:
            return "notho" + _RANKS[rest]
    return None


def is_epithet(token: Token) -> bool:
    """Say whether a word may be an epithet: no rank, no cf., no particle of authors."""
    text = token.text
    is_name = token.kind == "word" and text[0].islower() and bool(_EPITHET.fullmatch(text))
    return is_name and not rank(token) and stem(token) not in QUALIFIERS and not _PARTICLE.fullmatch(stem(token))


def is_lower(token: Token) -> bool:
    """Say whether a word begins with a small letter."""
    return token.kind == "word" and token.text[0].islower()


def is_genus(token: Token) -> bool:
    """Say whether a word may be a genus, whatever its case."""
    return token.kind == "word" and bool(_GENUS.fullmatch(token.text)) and not rank(token)


def is_short(token: Token) -> bool:
    """Say whether a word may be a shortened genus, such as "E."."""
    return token.kind == "word" and bool(_SHORT.fullmatch(token.text)) and not rank(token)


def is_author(token: Token) -> bool:
    """Say whether a token may stand among authors: a name with a capital, a particle, a year, a bracket."""
    text = token.text
    if token.kind in {"(", ")"} or text in {"&", ",", "."} or _YEAR.fullmatch(text):
        return True
    return token.kind == "word" and (text[0].isupper() or bool(_PARTICLE.fullmatch(stem(token))))
