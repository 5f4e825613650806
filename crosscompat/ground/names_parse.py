"""Plant names as people write them, read into their parts."""

from __future__ import annotations

import re
import unicodedata
from itertools import accumulate
from typing import Any, NamedTuple

from crosscompat.ground.errors import UnknownName
from crosscompat.ground.wording import say

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
_QUALIFIERS = {"cf": "cf.", "aff": "aff.", "sp": "sp.", "spec": "sp.", "spp": "sp."}
_LONGEST, _MOST_PARENTS, _SHOWN = 4_000, 64, 200  # what is longer is no name, and slow
# Between and after authors, without their points.
_PARTICLE = re.compile(
    r"ex|et|in|and|de|del|della|den|der|des|di|do|du|la|le|van|von|vom|zu|zum|zur|y|e|fil|f|non|nec|emend|hort|al|auct"
    r"|pro|bis|sensu|s\.l|s\.str|s|l|str|lat|agg|nom|nud"
)


def fold(label: str) -> str:
    """Return the form in which labels are compared: NFC, underscores and runs of blanks as one space, case kept."""
    if not label.isascii():
        label = unicodedata.normalize("NFC", label)
    return " ".join(label.replace("_", " ").split())


def bare_word(word: str) -> str:
    """Return a word without a hybrid sign stuck to its front: "xroetteri" has one, "xanthocarpus" none."""
    word = word.lstrip("×✕")
    return word[1:] if _GLUED.match(word) else word


class _Token(NamedTuple):
    """A piece of a name and what it is: "word", "cultivar", "field", or the sign itself."""

    kind: str = ""
    text: str = ""

    @property
    def stem(self) -> str:
        return self.text.rstrip(".").lower() if self.kind == "word" else ""

    @property
    def rank(self) -> str | None:
        """A rank as it is printed, "notho" in full (ICN Art. H.3.1 allows "n-")."""
        if self.stem in _RANKS:
            return _RANKS[self.stem]
        rest = re.sub(r"^(?:notho-?|n-?)", "", self.stem)
        return f"notho{_RANKS[rest]}" if rest in _RANKS else None

    @property
    def is_epithet(self) -> bool:
        """Whether a word may be an epithet: no rank, no cf., no particle of authors."""
        other = self.rank or self.stem in _QUALIFIERS or _PARTICLE.fullmatch(self.stem)
        return self.kind == "word" and self.text[0].islower() and bool(_EPITHET.fullmatch(self.text)) and not other

    def is_word(self, kind: re.Pattern[str]) -> bool:
        return self.kind == "word" and bool(kind.fullmatch(self.text)) and not self.rank

    @property
    def is_author(self) -> bool:
        """Whether it may stand among authors: a name with a capital, a particle, a year, a bracket."""
        sign = self.kind in {"(", ")"} or self.text in {"&", ",", "."} or _YEAR.fullmatch(self.text)
        return bool(sign or (self.kind == "word" and (self.text[0].isupper() or _PARTICLE.fullmatch(self.stem))))


def _tokens(text: str) -> list[_Token]:
    tokens: list[_Token] = []
    for match in _TOKEN.finditer(text):
        parts = match.groupdict()
        if quoted := parts["cultivar"] or parts["trade"]:
            tokens.append(_Token("cultivar", quoted))
        elif parts["number"]:
            tokens.append(_Token("field", f"{parts['initials']} {parts['number']}"))
        elif parts["sign"]:
            sign = parts["sign"].replace("✕", "×")
            tokens.append(_Token(sign, sign))
        else:
            word = parts["word"].strip(",;") or parts["word"]
            if word in {"x", "X"} or _GLUED.match(word):
                tokens.append(_Token("×", "×"))
                word = word[1:]
            if word:
                tokens.append(_Token("word", word))
    return tokens


class PlantName(NamedTuple):
    """The parts of a plant's name; ``str`` gives the correct form with the genus in full and without authors.

    ``received`` is as it was written; ``genus`` in full, empty for a hybrid formula, whose sides are the ``parents``,
    seed parent first. × stands before the genus (``hybrid_genus``) or the epithet (``hybrid``). Of several
    infraspecific ranks the last is kept (ICN Art. 24.1). ``qualifier`` is "cf.", "aff.", or "sp." with whatever tells
    this one from others ("sp. A"), and may stand after the species epithet (``qualifies_infraspecific``).
    """

    received: str
    genus: str = ""
    hybrid_genus: bool = False
    epithet: str | None = None
    hybrid: bool = False
    rank: str | None = None
    infraspecific: str | None = None
    cultivar: str | None = None
    group: str | None = None
    qualifier: str | None = None
    qualifies_infraspecific: bool = False
    field_number: str | None = None
    authors: str | None = None
    parents: tuple[PlantName, PlantName] | None = None

    @property
    def leading_genus(self) -> str:
        """The genus of the first parent, with its × if it has one."""
        return self.parents[0].leading_genus if self.parents else "×" * self.hybrid_genus + self.genus

    def only_species(self) -> PlantName:
        """Return the name without anything below the species, authors or a qualifier."""
        if self.parents:
            first, second = self.parents
            return PlantName(self.received, parents=(first.only_species(), second.only_species()))
        return PlantName(self.received, self.genus, self.hybrid_genus, self.epithet, self.hybrid)

    def __str__(self) -> str:
        below = _below(self)
        if self.parents:
            first, second = self.parents
            right = f"({second})" if second.parents and not _below(second) else str(second)
            formula = f"{first} × {right}"
            return " ".join([f"({formula})", *below]) if below else formula
        doubt = (None, self.qualifier) if self.qualifies_infraspecific else (self.qualifier, None)
        parts = ["×" * self.hybrid_genus + self.genus, doubt[0], self.epithet and "×" * self.hybrid + self.epithet]
        parts += [self.rank, doubt[1], self.infraspecific] if self.infraspecific else []
        return " ".join(filter(None, [*parts, *below]))


def _below(name: PlantName) -> list[str]:
    group, cultivar = name.group and f"{name.group} Group", name.cultivar and f"'{name.cultivar}'"
    return list(filter(None, (group, cultivar, name.field_number)))


class Unreadable(UnknownName):
    """The text is no plant name at all, as far as can be told; a label may still be written so."""


def _refuse(key: str, name: str, **values: object) -> UnknownName:
    kind = Unreadable if key in {"unreadable", "too_long"} else UnknownName
    shown = name if len(name) <= _SHOWN else f"{name[:_SHOWN]}…"
    return kind(say(f"names.{key}", name=shown, **values), name)


class _Reader:
    """Reads one name that is no formula, token after token."""

    def __init__(self, tokens: list[_Token], whole: str, genus: str | None) -> None:
        self.tokens, self.whole, self.first_genus = tokens, whole, genus
        self.at = 0
        self.parts: dict[str, Any] = {}
        self.authors: list[str] = []

    def peek(self, ahead: int = 0) -> _Token:
        place = self.at + ahead
        return self.tokens[place] if place < len(self.tokens) else _Token()

    def step(self) -> _Token:
        token = self.peek()
        self.at += 1
        return token

    def take(self, kind: str) -> bool:
        is_next = self.peek().kind == kind
        self.at += is_next
        return is_next

    def texts(self, *kinds: str) -> list[str]:
        first = self.at
        while self.peek().kind in kinds:
            self.at += 1
        return [token.text for token in self.tokens[first : self.at]]

    def name(self) -> PlantName:
        if self.peek().stem in {"cf", "aff"}:
            self.qualifier()
        self.genus()
        self.species()
        self.below()
        if self.authors:
            self.parts["authors"] = " ".join(self.authors).replace("( ", "(").replace(" )", ")")
        return PlantName(" ".join(token.text for token in self.tokens), **self.parts)

    def qualifier(self) -> None:
        if self.peek().stem in _QUALIFIERS:
            self.parts["qualifier"] = _QUALIFIERS[self.step().stem]
            self.parts["qualifies_infraspecific"] = "epithet" in self.parts

    def genus(self) -> None:
        hybrid, token = self.take("×"), self.step()
        if token.is_word(_SHORT):
            full = fold(self.first_genus or "")
            genus = full.lstrip("× ")
            hybrid = hybrid or genus != full
            if not full:
                raise _refuse("abbreviation", self.whole, short=token.text)
            if not genus.casefold().startswith(token.text.rstrip(".").casefold()):
                raise _refuse("abbreviation_other", self.whole, short=token.text, genus=full)
        elif token.is_word(_GENUS) and not (token.text[0].islower() and self.at == len(self.tokens)):
            genus = token.text[0].upper() + token.text[1:]
        else:
            raise _refuse("unreadable", self.whole, piece=token.text or self.whole)
        self.parts |= {"genus": genus, "hybrid_genus": hybrid}

    def species(self) -> None:
        hybrid = self.take("×")
        self.qualifier()
        if self.parts.get("qualifier") == "sp.":  # what is no cultivar or field number tells it from others: "sp. A"
            self.parts["qualifier"] = " ".join(["sp.", *self.texts("word")])
            return
        hybrid = self.take("×") or hybrid
        if self.peek().is_epithet:
            self.parts |= {"epithet": self.step().text, "hybrid": hybrid}
            if "qualifier" not in self.parts:
                self.qualifier()
            if self.peek().is_epithet:
                self.parts["infraspecific"] = self.step().text

    def below(self) -> None:
        """Read what stands below the species, and authors."""
        while self.at < len(self.tokens):
            token = self.step()
            if token.kind == "cultivar":
                self.parts["cultivar"] = token.text
            elif token.kind == "field":
                self.parts["field_number"] = token.text
            elif token.text in {"Group", "Gp", "Gp."} and self.authors:
                self.group()
            elif token.stem == "cv" and (words := self.texts("word", "cultivar")):
                self.parts["cultivar"] = " ".join(words).strip("'‘’‛`´\"“”„ ")
                if not self.parts["cultivar"]:
                    raise _refuse("unreadable", self.whole, piece="cv.")
            elif not self.infraspecific(token):
                if not token.is_author:
                    raise _refuse("unreadable", self.whole, piece=token.text)
                self.authors.append(token.text)

    def group(self) -> None:
        words: list[str] = []
        while self.authors and self.authors[-1].replace("-", "").isalpha():
            words.insert(0, self.authors.pop())
        if self.authors[-1:] == ["("] and self.take(")"):
            self.authors.pop()
        if not words:
            raise _refuse("unreadable", self.whole, piece="Group")
        self.parts["group"] = " ".join(words)

    def infraspecific(self, token: _Token) -> bool:
        """Read an epithet if the token is its rank; "f." before anything else is filius, the son."""
        written = token.rank
        signed = self.peek().kind == "×"
        doubtful = self.peek(signed).stem in {"cf", "aff"}
        if written is None or "epithet" not in self.parts or not self.peek(signed + doubtful).is_epithet:
            return False
        self.at += signed
        if doubtful:
            self.qualifier()
        notho = "notho" if signed and not written.startswith("notho") else ""
        self.parts |= {"rank": notho + written, "infraspecific": self.step().text}
        return True


def _depths(tokens: list[_Token]) -> list[int]:
    return list(accumulate((token.kind == "(") - (token.kind == ")") for token in tokens))


def _joins(before: list[_Token], after: _Token, whole: str) -> bool:
    """Say whether a × joins two parents, and does not stand before a genus, an epithet or a rank's epithet."""
    names = [token for token in before if token.kind not in {"♀", "♂"} and token.stem not in {"cf", "aff"}]
    if not names:
        return False
    if after.kind in {"", ")", "field"}:
        raise _refuse("unreadable", whole, piece="×")
    if after.kind != "cultivar" and not after.text[:1].islower():
        return True
    only_genus = len([token for token in names if token.kind != "×"]) == 1 and names[-1].kind == "word"
    if only_genus or names[-1].rank:
        return False
    raise _refuse("genus_left_out", whole)


def _sides(tokens: list[_Token], whole: str) -> list[list[_Token]]:
    sides: list[list[_Token]] = [[]]
    for token, depth, after in zip(tokens, _depths(tokens), [*tokens[1:], _Token()], strict=False):
        if token.kind == "×" and depth == 0 and _joins(sides[-1], after, whole):
            sides.append([])
        else:
            sides[-1].append(token)
    return sides


def _formula(tokens: list[_Token], whole: str, genus: str | None) -> PlantName:
    first, *others = _sides(tokens, whole)
    name, sexes = _side(first, whole, genus)
    genus = name.leading_genus
    for side in others:
        read, signs = _side(side, whole, genus)
        # The signs say who is the mother whatever the order (ICN Rec. H.2A.1).
        turned = sexes == {"♂"} or (not sexes and signs == {"♀"})
        pair = (read, name) if turned else (name, read)
        name, sexes = PlantName(f"{name.received} × {read.received}", parents=pair), set()
    return name


def _side(side: list[_Token], whole: str, genus: str | None) -> tuple[PlantName, set[str]]:
    """Return one side of a formula, and the signs of sex in it."""
    tokens = [token for token in side if token.kind not in {"♀", "♂"}]
    sexes = {token.kind for token in side} & {"♀", "♂"}
    if not tokens:
        raise _refuse("unreadable", whole, piece="×")
    if tokens[0].kind != "(":
        return _Reader(tokens, whole, genus).name(), sexes
    depths = _depths(tokens)
    if 0 not in depths:
        raise _refuse("unreadable", whole, piece="(")
    end = depths.index(0)
    below = _Reader(tokens[end + 1 :], whole, genus)
    name = _formula(tokens[1:end], whole, genus)
    below.below()
    if below.authors:
        raise _refuse("unreadable", whole, piece=below.authors[0])
    return name._replace(**below.parts), sexes


def parse(text: str, genus: str | None = None) -> PlantName:
    """Read a plant's name as people write it.

    Reads × or x before the genus, the epithet or between parents, ranks and their abbreviations, cultivars in any kind
    of quotes, groups, cf., aff. and sp., field numbers and authors; underscores count as spaces. ``genus`` is what an
    abbreviation such as "E." stands for; a second parent may shorten the first one's genus.

    Raises `UnknownName` if it cannot be read, an abbreviation stands for nothing known, a parent in a formula has no
    genus (ICN Art. H.2 Ex. 2), + marks a graft-chimaera, or it has over 4,000 letters or 64 parents.

    Examples
    --------
    >>> str(parse("E. x_roetteri", genus="Echinocereus"))
    'Echinocereus ×roetteri'
    >>> str(parse("Salix aurita L. x S. caprea L."))
    'Salix aurita × Salix caprea'
    """
    folded = fold(text)
    if not folded:
        raise Unreadable(say("names.empty"), text)
    tokens = _tokens(folded[:_LONGEST])
    if any(token.kind == "+" for token in tokens):
        raise _refuse("graft", folded)
    signs = [token.kind for token in tokens]
    if len(folded) > _LONGEST or max(signs.count("×"), *_depths(tokens)) > _MOST_PARENTS:
        raise _refuse("too_long", folded, letters=_LONGEST, parents=_MOST_PARENTS)
    return _formula(tokens, folded, genus)._replace(received=text)
