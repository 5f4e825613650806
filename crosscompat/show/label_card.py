"""What stands on a label, apart from how it is drawn."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

from crosscompat.ground.names import bracketed
from crosscompat.ground.wording import say

__all__ = ["SIGNS", "Kind", "LabelCard", "code_text", "facts_of", "other_side", "role_of"]

Kind: TypeAlias = Literal["cross", "mixed", "unknown", "sib", "open", "self", "none"]

SIGNS: Final = {
    **dict.fromkeys(("cross", "mixed", "unknown", "sib", "open"), "\N{MULTIPLICATION SIGN}"),
    "self": "\N{CIRCLED TIMES}",
}
"""What stands between the parents; nothing where no pollen was brought."""


@dataclass(frozen=True, slots=True)
class LabelCard:
    """What stands on the label of one cross; an empty field leaves a line to write on.

    Attributes
    ----------
    number : str
        The grower's own number of the cross.
    seed_parent, pollen_parent : str
        Names in correct form, genus in full; ``pollen_parent`` is used for a cross alone.
    seed_plant, pollen_plant : str
        Numbers of the very plants.
    kind : {"cross", "mixed", "unknown", "sib", "open", "self", "none"}
        Whether pollen was brought from another plant, from several, from one that nobody knows any more, from a sister
        or brother, came by itself, is the plant's own, or was kept out by a bag.
    date : str
        Day of the pollination, as it is to be printed.
    units : str
        What was pollinated, such as "4 flowers".
    grower : str
        Initials.
    note, caution : str
        A line of the grower's, and what to beware of when handling the plant.
    purpose : str
        What it is where it is no cross: a check of a parent.
    """

    number: str
    seed_parent: str
    pollen_parent: str = ""
    seed_plant: str = ""
    pollen_plant: str = ""
    kind: Kind = "cross"
    date: str = ""
    units: str = ""
    grower: str = ""
    note: str = ""
    caution: str = ""
    purpose: str = ""


def other_side(card: LabelCard) -> str:
    """Return what stands in the place of the pollen parent.

    Examples
    --------
    >>> other_side(LabelCard("1", "Aus bus", kind="open"))
    'open'
    """
    return card.pollen_parent if card.kind == "cross" else say(f"label.{card.kind}")


def role_of(card: LabelCard, side: Literal["seed", "pollen"]) -> str:
    """Return which parent a name is, with the very plant where one is known."""
    if side == "pollen" and card.kind != "cross":
        return say(f"label.{card.kind}_pollen")
    plant = card.seed_plant if side == "seed" else card.pollen_plant
    return say(f"label.{side}_parent_plant", plant=plant) if plant else say(f"label.{side}_parent")


def facts_of(card: LabelCard) -> tuple[tuple[str, str], ...]:
    """Return date, count and grower, each with its heading."""
    units = {"open": "units_open", "none": "units_none"}.get(card.kind, "units")
    return tuple((say(f"label.{key}"), value) for key, value in (
        ("date", card.date), (units, card.units), ("grower", card.grower),
    ))  # fmt: skip


def code_text(card: LabelCard, *, invented: bool = False) -> str:
    """Return what the code on a label says to whoever reads it with a phone: plain text, the seed parent first.

    Where the outcomes are invented, its last line says so.

    Examples
    --------
    >>> print(code_text(LabelCard("26-014", "Aus bus", "Aus cus", "A1", date="2026-04-18", units="4 flowers")))
    26-014
    Aus bus [A1] × Aus cus
    2026-04-18, 4 flowers
    """
    seed, pollen = (
        f"{bracketed(name)} [{plant}]" if plant else bracketed(name)
        for name, plant in (
            (card.seed_parent, card.seed_plant),
            (other_side(card), card.pollen_plant if card.kind == "cross" else ""),
        )
    )
    formula = f"{seed} {SIGNS[card.kind]} {pollen}" if card.kind in SIGNS else f"{seed}, {pollen}"
    made = ", ".join(part for part in (card.date, card.units, card.grower) if part)
    mark = say("label.invented") if invented else ""
    return "\n".join(part for part in (card.number, formula, card.purpose, made, mark) if part)
