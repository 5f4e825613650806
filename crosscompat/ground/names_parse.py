"""Plant names as people write them, read into their parts."""

from __future__ import annotations

from dataclasses import dataclass, replace

from crosscompat.ground.errors import UnknownName
from crosscompat.ground.names_tokens import (
    QUALIFIERS,
    Token,
    fold,
    is_author,
    is_epithet,
    is_genus,
    is_lower,
    is_short,
    rank,
    stem,
    tokenise,
)
from crosscompat.ground.wording import say

__all__ = ["PlantName", "Unreadable", "leading_genus", "parse"]


@dataclass(frozen=True, slots=True)
class PlantName:
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

    def only_species(self) -> PlantName:
        """Return the name without anything below the species.

        Examples
        --------
        >>> str(parse("Echinocereus cf. coccineus QX 237").only_species())
        'Echinocereus coccineus'
        """
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
        parts = ["×" * self.hybrid_genus + self.genus]
        doubt = [self.qualifier] if self.qualifier else []
        if not self.qualifies_infraspecific:
            parts += doubt
        if self.epithet:
            parts.append("×" * self.hybrid + self.epithet)
        if self.infraspecific:
            parts += [self.rank] if self.rank else []
            parts += doubt if self.qualifies_infraspecific else []
            parts.append(self.infraspecific)
        return " ".join(parts + below)


def _below(name: PlantName) -> list[str]:
    """Return what follows the botanical name: group, cultivar, field number."""
    parts = [f"{name.group} Group"] if name.group else []
    parts += [f"'{name.cultivar}'"] if name.cultivar else []
    return parts + ([name.field_number] if name.field_number else [])


class Unreadable(UnknownName):
    """The text is no plant name at all, as far as can be told; a label may still be written so."""


def _refuse(key: str, name: str, **values: str) -> UnknownName:
    kind = Unreadable if key == "unreadable" else UnknownName
    return kind(say(f"names.{key}", name=name, **values), name)


class _Reader:
    """Reads one name that is no formula, token after token."""

    def __init__(self, tokens: list[Token], whole: str, genus: str | None) -> None:
        self.tokens = tokens
        self.whole = whole
        self.first_genus = genus
        self.at = 0
        self.name = PlantName(" ".join(token.text for token in tokens))
        self.authors: list[str] = []

    def put(self, **values: str | bool | None) -> None:
        self.name = replace(self.name, **values)  # type: ignore[arg-type]

    def peek(self, ahead: int = 0) -> Token:
        place = self.at + ahead
        return self.tokens[place] if place < len(self.tokens) else Token("", "")

    def take(self, kind: str) -> bool:
        """Step over a token of that kind if it is next."""
        is_next = self.peek().kind == kind
        self.at += is_next
        return is_next

    def read(self) -> PlantName:
        if stem(self.peek()) in {"cf", "aff"}:
            self.qualifier()
        self.genus()
        self.species()
        while self.at < len(self.tokens):
            self.rest()
        if self.authors:
            joined = " ".join(self.authors).replace("( ", "(").replace(" )", ")")
            self.put(authors=joined)
        return self.name

    def qualifier(self) -> None:
        word = stem(self.peek())
        if word in QUALIFIERS:
            self.at += 1
            self.put(qualifier=QUALIFIERS[word], qualifies_infraspecific=self.name.epithet is not None)

    def genus(self) -> None:
        self.put(hybrid_genus=self.take("×"))
        token = self.peek()
        self.at += 1
        lonely = is_lower(token) and self.at == len(self.tokens)
        if is_short(token):
            self.put(**self.expanded(token.text))
        elif is_genus(token) and not lonely:
            self.put(genus=token.text[0].upper() + token.text[1:])
        else:
            raise _refuse("unreadable", self.whole, piece=token.text or self.whole)

    def expanded(self, short: str) -> dict[str, str | bool]:
        if not self.first_genus:
            raise _refuse("abbreviation", self.whole, short=short)
        full = fold(self.first_genus)
        bare = full.lstrip("× ")
        if not bare.casefold().startswith(short.rstrip(".").casefold()):
            raise _refuse("abbreviation_other", self.whole, short=short, genus=full)
        return {"genus": bare, "hybrid_genus": self.name.hybrid_genus or bare != full}

    def species(self) -> None:
        hybrid = self.take("×")
        self.qualifier()
        if self.name.qualifier == "sp.":
            self.undetermined()
            return
        hybrid = self.take("×") or hybrid
        if is_epithet(self.peek()):
            self.put(epithet=self.peek().text, hybrid=hybrid)
            self.at += 1
            if not self.name.qualifier:
                self.qualifier()
            if is_epithet(self.peek()):
                self.put(infraspecific=self.peek().text)
                self.at += 1

    def undetermined(self) -> None:
        """After "sp." whatever is no cultivar or field number tells this one from the others: "sp. A", "sp. nov."."""
        tells = ["sp."]
        while self.peek().kind == "word":
            tells.append(self.peek().text)
            self.at += 1
        self.put(qualifier=" ".join(tells))

    def rest(self) -> None:
        token = self.peek()
        self.at += 1
        if token.kind == "cultivar":
            self.put(cultivar=token.text)
        elif token.kind == "field":
            self.put(field_number=token.text)
        elif token.text in {"Group", "Gp", "Gp."} and self.authors:
            self.group()
        elif stem(token) == "cv" and self.peek().kind in {"word", "cultivar"}:
            self.cultivar()
        elif not self.infraspecific(token):
            self.author(token)

    def cultivar(self) -> None:
        words = []
        while self.peek().kind in {"word", "cultivar"}:
            words.append(self.peek().text)
            self.at += 1
        name = " ".join(words).strip("'‘’‛`´\"“”„ ")
        if not name:
            raise _refuse("unreadable", self.whole, piece="cv.")
        self.put(cultivar=name)

    def group(self) -> None:
        words: list[str] = []
        while self.authors and self.authors[-1].replace("-", "").isalpha():
            words.insert(0, self.authors.pop())
        if self.authors[-1:] == ["("] and self.take(")"):
            self.authors.pop()
        if not words:
            raise _refuse("unreadable", self.whole, piece="Group")
        self.put(group=" ".join(words))

    def infraspecific(self, token: Token) -> bool:
        """Read an epithet if the token is its rank; "f." before anything else is filius, the son."""
        written = rank(token)
        signed = self.peek().kind == "×"
        doubtful = stem(self.peek(signed)) in {"cf", "aff"}
        if written is None or self.name.epithet is None or not is_epithet(self.peek(signed + doubtful)):
            return False
        self.at += signed
        if doubtful:
            self.qualifier()
        notho = "notho" if signed and not written.startswith("notho") else ""
        self.put(rank=notho + written, infraspecific=self.peek().text)
        self.at += 1
        return True

    def author(self, token: Token) -> None:
        if not is_author(token):
            raise _refuse("unreadable", self.whole, piece=token.text)
        self.authors.append(token.text)


def _closing(tokens: list[Token]) -> int:
    """Return the place of the bracket that closes the first one, or -1."""
    depth = 0
    for place, token in enumerate(tokens):
        depth += (token.kind == "(") - (token.kind == ")")
        if depth == 0:
            return place
    return -1


def _joins(before: list[Token], after: Token, whole: str) -> bool:
    """Say whether a × joins two parents, and does not stand before a genus, an epithet or a rank's epithet."""
    names = [token for token in before if token.kind not in {"♀", "♂"} and stem(token) not in {"cf", "aff"}]
    if not names:
        return False
    if after.kind in {"", ")", "field"}:
        raise _refuse("unreadable", whole, piece="×")
    if after.kind != "cultivar" and not is_lower(after):
        return True
    only_genus = len([token for token in names if token.kind != "×"]) == 1 and names[-1].kind == "word"
    if only_genus or rank(names[-1]):
        return False
    raise _refuse("genus_left_out", whole)


def _sides(tokens: list[Token], whole: str) -> list[list[Token]]:
    sides: list[list[Token]] = [[]]
    depth = 0
    for place, token in enumerate(tokens):
        depth += (token.kind == "(") - (token.kind == ")")
        after = tokens[place + 1] if place + 1 < len(tokens) else Token("", "")
        if token.kind == "×" and depth == 0 and _joins(sides[-1], after, whole):
            sides.append([])
        else:
            sides[-1].append(token)
    return sides


def leading_genus(name: PlantName) -> str:
    """Return the genus of the first parent, with its × if it has one."""
    while name.parents:
        name = name.parents[0]
    return "×" * name.hybrid_genus + name.genus


def _formula(tokens: list[Token], whole: str, genus: str | None) -> PlantName:
    name: PlantName | None = None
    for side in _sides(tokens, whole):
        sexes = {token.kind for token in side} & {"♀", "♂"}
        read = _side([token for token in side if token.kind not in {"♀", "♂"}], whole, genus)
        if name is None:
            name, first_sexes = read, sexes
            genus = leading_genus(read)
            continue
        # The signs say who is the mother whatever the order (ICN Rec. H.2A.1).
        turned = first_sexes == {"♂"} or (not first_sexes and sexes == {"♀"})
        pair = (read, name) if turned else (name, read)
        name = PlantName(f"{name.received} × {read.received}", parents=pair)
        first_sexes = set()
    if name is None:
        raise _refuse("unreadable", whole, piece=whole)
    return name


def _side(tokens: list[Token], whole: str, genus: str | None) -> PlantName:
    if not tokens:
        raise _refuse("unreadable", whole, piece="×")
    if tokens[0].kind != "(":
        return _Reader(tokens, whole, genus).read()
    end = _closing(tokens)
    if end < 0:
        raise _refuse("unreadable", whole, piece="(")
    name = _formula(tokens[1:end], whole, genus)
    below = _Reader(tokens[end + 1 :], whole, genus)
    while below.at < len(below.tokens):
        below.rest()
    if below.authors:
        raise _refuse("unreadable", whole, piece=below.authors[0])
    behind = below.name
    added = {"cultivar": behind.cultivar, "group": behind.group, "field_number": behind.field_number}
    return replace(name, **{part: text for part, text in added.items() if text})  # type: ignore[arg-type]


def parse(text: str, genus: str | None = None) -> PlantName:
    """Read a plant's name as people write it.

    Reads × or x before the genus, the epithet or between parents, ranks and their abbreviations, cultivars in any kind
    of quotes, groups, cf., aff. and sp., field numbers and authors. A second parent may shorten the first one's genus.

    Parameters
    ----------
    text : str
        The name; underscores count as spaces.
    genus : str, optional
        What an abbreviation such as "E." stands for: the genus of the first parent named.

    Raises
    ------
    UnknownName
        If this is no plant name that can be read, an abbreviation stands for nothing known, a parent in a formula has
        no genus (ICN Art. H.2 Ex. 2), or + marks a graft-chimaera.

    Examples
    --------
    >>> str(parse("E. x_roetteri", genus="Echinocereus"))
    'Echinocereus ×roetteri'
    >>> str(parse("Salix aurita L. x S. caprea L."))
    'Salix aurita × Salix caprea'
    >>> parse("Echinocereus coccineus Engelm. ssp. rosei QX 237").field_number
    'QX 237'
    """
    folded = fold(text)
    if not folded:
        raise Unreadable(say("names.empty"), text)
    tokens = tokenise(folded)
    if any(token.kind == "+" for token in tokens):
        raise _refuse("graft", folded)
    name = _formula(tokens, folded, genus)
    return replace(name, received=text)
