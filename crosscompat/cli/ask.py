"""Print the answer about one pairing."""

from __future__ import annotations

from pathlib import Path

from crosscompat.advice.ask import Answer, PairForecast, ask
from crosscompat.advice.figures import Distance, Past
from crosscompat.advice.stages import PastWeights, StageForecast
from crosscompat.cli.locate import collection_or_carried
from crosscompat.cli.output import line, paragraph, print_json, unit_in_words, who
from crosscompat.ground.names import bracketed
from crosscompat.ground.wording import say
from crosscompat.model.forecast import MOST_FLOWERS, chance_of
from crosscompat.show.chances import percent, percent_range

__all__ = ["print_answer", "run"]

_CHANGES_NOTHING = 0.05
_CHANGES_LITTLE = 0.15
_MOST_PAST = 2
_SHOWS = 0.005


def run(folder: Path | None, seed: str, pollen: str, *, flowers: int, as_json: bool) -> None:
    """Ask and print."""
    collection = collection_or_carried(folder, (seed, pollen))
    answer = ask(collection, seed, pollen, flowers=flowers)
    if as_json:
        print_json(answer)
    else:
        print_answer(answer, fruit=collection.settings.fruit_word)


def print_answer(answer: Answer, *, fruit: str) -> None:
    """Print an answer for a person: verdict first, then why, then what to mind."""
    if answer.invented:
        paragraph(say("cli.invented"))
        line()
    _print_pairing(answer.pairing, [near.words for near in answer.known_hybrids], fruit)
    line()
    _print_reciprocal(answer.reciprocal, answer.pairing)
    line()
    paragraph(answer.basis.words)
    for note in answer.notes:
        paragraph(note)
    for caution in answer.handling:
        paragraph(caution.says)


def _print_pairing(pair: PairForecast, known: list[str], fruit: str) -> None:
    paragraph(
        say(
            "ask.pairing",
            seed=who(pair.seed_parent, pair.seed_plant),
            pollen=who(pair.pollen_parent, pair.pollen_plant),
        )
    )
    line(f"  {pair.verdict_words}")
    chance = percent_range(pair.chance.mean, pair.chance.low, pair.chance.high)
    paragraph(say("ask.chance", words=pair.chance.words, percent=chance, flowers=pair.flowers), indent=2)
    paragraph(_flowers_needed(pair), indent=2)
    paragraph(_how_far(pair), indent=2)
    if pair.past:
        paragraph(say("ask.past", crosses="; ".join(_past_words(past) for past in pair.past)), indent=2)
    for words in known:
        paragraph(words, indent=2)
    line()
    line(say("ask.why"))
    _print_stages(pair, fruit)
    if pair.cautions:
        line()
        line(say("ask.mind", fruit=fruit))
        for caution in pair.cautions:
            paragraph(caution.says, indent=2, bullet="! ")


def _print_stages(pair: PairForecast, fruit: str) -> None:
    for stage in pair.stages:
        chance = percent_range(stage.chance.mean, stage.chance.low, stage.chance.high)
        what = say(f"stages.{stage.stage}", fruit=fruit)
        paragraph(say("ask.stage", what=what, words=stage.chance.words, percent=chance), indent=2)
        _print_reasons(stage)
    if pair.seeds_per_pod is not None:
        paragraph(say("ask.seeds", fruit=fruit, seeds=f"{pair.seeds_per_pod:.3g}"), indent=2)
        paragraph(say("ask.whole", words=pair.per_flower.words, percent=percent(pair.per_flower.mean)), indent=2)


def _print_reasons(stage: StageForecast) -> None:
    """Print what adds up to a stage's chance: those that change little as one, and what is unsure last."""
    base, *terms = stage.reasons
    paragraph(say("ask.base", percent=percent(chance_of(base.logit))), indent=6)
    told = [reason for reason in terms if abs(reason.logit) >= _CHANGES_LITTLE]
    for reason in told:
        paragraph(f"{reason.says} ({reason.logit:+.2f})", indent=4, bullet="+ " if reason.logit > 0 else "- ")
    rest = sum(reason.logit for reason in terms if reason not in told)
    if abs(rest) >= _CHANGES_NOTHING:
        paragraph(say("ask.rest", logit=f"{rest:+.2f}"), indent=6)
    values = {"middle": percent(chance_of(stage.logit_mean)), "mean": percent(stage.chance.mean)}
    paragraph(say("ask.unsure", **values), indent=6)
    if stage.past is not None:
        _print_past(stage.past)


def _print_past(past: PastWeights) -> None:
    """Print what the grower's own crosses did to a stage, and which did most."""
    told = [one for one in past.weightiest if abs(one.adds) >= _CHANGES_NOTHING][:_MOST_PAST]
    named = [
        say(
            "ask.weighty", seed=bracketed(one.seed_parent), pollen=bracketed(one.pollen_parent), adds=f"{one.adds:+.2f}"
        )
        for one in told
    ]
    before, after = (percent(chance_of(logit)) for logit in (past.prior_logit, past.mode_logit))
    text = say("ask.moved", before=before, after=after)
    paragraph(f"{text}{say('ask.most_by', pairings='; '.join(named)) if named else ''}", indent=6)


def _print_reciprocal(other: PairForecast, pair: PairForecast) -> None:
    paragraph(
        say(
            "ask.reciprocal",
            seed=who(other.seed_parent, other.seed_plant),
            pollen=who(other.pollen_parent, other.pollen_plant),
        )
    )
    chance = percent_range(other.chance.mean, other.chance.low, other.chance.high)
    words = say("ask.chance", words=other.chance.words, percent=chance, flowers=other.flowers)
    paragraph(f"{other.verdict_words}. {words}", indent=2)
    if other.past:
        paragraph(say("ask.past", crosses="; ".join(_past_words(past) for past in other.past)), indent=2)
    known = {caution.says for caution in pair.cautions}
    for caution in other.cautions:
        if caution.says not in known:
            paragraph(caution.says, indent=2, bullet="! ")


def _flowers_needed(pair: PairForecast) -> str:
    half, four_fifths = pair.flowers_for_half, pair.flowers_for_four_fifths
    if half is None:
        return say("ask.flowers_many", most=MOST_FLOWERS)
    if four_fifths is None:
        return say("ask.flowers_half", half=half, most=MOST_FLOWERS)
    return say("ask.flowers", half=half, four_fifths=four_fifths)


def _how_far(pair: PairForecast) -> str:
    far = pair.distance
    unit = unit_in_words(far.unit)
    words = [
        say(
            "ask.distance",
            distance=f"{far.patristic:.3g}",
            unit=unit,
            give_or_take=_give_or_take(far),
            relative=f"{far.relative:.2f}",
        )
    ]
    if far.nodes is not None:
        words.append(say("ask.nodes", n=far.nodes))
    if far.clade_size is not None:
        group = f" ({far.clade_name})" if far.clade_name else ""
        words.append(say("ask.clade", n=far.clade_size, group=group))
    return "; ".join(words) + "."


def _give_or_take(far: Distance) -> str:
    """Say how unsure a distance is, unless nothing of it would show."""
    if far.spread < _SHOWS * far.patristic or far.spread == 0:
        return ""
    spread = f"{far.spread:.2g}"
    if far.trees is None:
        return say("ask.give_or_take", spread=spread)
    return say("ask.give_or_take_over", spread=spread, n=far.trees)


def _past_words(past: Past) -> str:
    flowers = say("ask.past_flowers", n=past.flowers) if past.flowers else say("ask.past_uncounted")
    return say(
        "ask.past_cross",
        number=past.number,
        date=past.date,
        flowers=flowers,
        outcome=say(f"ask.outcome.{past.outcome}"),
    )
