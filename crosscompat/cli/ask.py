"""Print the answer about one pairing: eight lines, and everything behind them on request."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from crosscompat.advice.ask import Answer, PairForecast, ask
from crosscompat.advice.figures import Distance, Past
from crosscompat.advice.known_hybrids import KnownNear
from crosscompat.advice.stages import PastWeights, StageForecast
from crosscompat.cli.locate import collection_or_carried
from crosscompat.cli.output import line, paragraph, print_json, screen_width, unit_in_words, who
from crosscompat.ground.names import bracketed
from crosscompat.ground.wording import say
from crosscompat.model.forecast import MOST_FLOWERS, chance_of
from crosscompat.show.chances import percent, percent_range

__all__ = ["print_answer", "print_reasons", "run"]

_CHANGES_NOTHING, _CHANGES_LITTLE, _DECIDES = 0.05, 0.15, 0.4
_MOST_PAST, _MOST_REASONS = 2, 2
_SHOWS = 0.005
_BETTER = 0.1
_INDENT = 2


def run(
    folder: Path | None, seed: str, pollen: str, *, flowers: int | None, as_json: bool = False, why: bool = False
) -> None:
    """Ask and print."""
    collection = collection_or_carried(folder, (seed, pollen))
    answer = ask(collection, seed, pollen, flowers=flowers)
    if as_json:
        print_json(answer)
        return
    print_answer(answer)
    if why:
        line()
        print_reasons(answer, fruit=collection.settings.fruit_word)


def print_answer(answer: Answer) -> None:
    """Print an answer in at most eight lines."""
    pair = answer.pairing
    names = {"seed": who(pair.seed_parent, pair.seed_plant), "pollen": who(pair.pollen_parent, pair.pollen_plant)}
    invented = say("ask.invented") if answer.invented else ""
    paragraph(say("ask.pairing", **names) + invented)
    chance = percent_range(pair.chance.mean, pair.chance.low, pair.chance.high, short=True)
    paragraph(say("ask.verdict", verdict=pair.verdict_words, sure=say(f"verdict.sure.{pair.sure}")), indent=_INDENT)
    paragraph(say("ask.chance", words=pair.chance.words, percent=chance, flowers=pair.flowers), indent=_INDENT)
    paragraph(_experience(answer), indent=_INDENT)
    paragraph(_flowers_needed(pair), indent=_INDENT)
    paragraph(_other_way(answer), indent=_INDENT)
    if decides := _what_decides(pair):
        paragraph(decides, indent=_INDENT)
    if minded := _to_mind(answer):
        paragraph(minded, indent=_INDENT)


def _experience(answer: Answer) -> str:
    """Say what the grower did with this pair before, or how much the chance rests on."""
    rest = _own_crosses(answer)
    record = "" if answer.pairing.past else _on_record(answer.known_hybrids)
    if not record:
        return rest
    fits = (words for own in (rest, say("ask.not_made")) if len(words := f"{own} {record}") + _INDENT <= screen_width())
    return next(fits, rest)


def _own_crosses(answer: Answer) -> str:
    made = answer.pairing.past
    over = [cross for cross in made if cross.outcome != "open"]
    if over:
        took = sum(cross.outcome == "took" for cross in over)
        return say("ask.made", n=len(over), took=took)
    if answer.basis.crosses or answer.basis.under_way:
        return say("ask.others", n=answer.basis.crosses, under_way=answer.basis.under_way)
    return say("ask.guess")


def _on_record(known: Sequence[KnownNear]) -> str:
    """Say that a hybrid of the very pair is published, by its name where it has one."""
    hybrids = [near.hybrid for near in known if near.same and near.outcome == "hybrid"]
    if not hybrids:
        return ""
    name = next(filter(None, hybrids), None)
    return say("ask.on_record", name=name) if name else say("ask.on_record_unnamed")


def _flowers_needed(pair: PairForecast) -> str:
    half, four_fifths = (_about(n) for n in (pair.flowers_for_half, pair.flowers_for_four_fifths))
    if half is None:
        return say("ask.flowers_many", most=MOST_FLOWERS)
    if four_fifths is None:
        return say("ask.flowers_half", half=half, most=MOST_FLOWERS)
    return say("ask.flowers", half=half, four_fifths=four_fifths)


def _about(flowers: int | None) -> int | None:
    """Round a number of flowers as far as it is known: to fives from ten on, to tens from thirty."""
    if flowers is None or flowers < 10:  # noqa: PLR2004 - said above
        return flowers
    step = 5 if flowers < 30 else 10  # noqa: PLR2004 - said above
    return step * -(-flowers // step)


def _other_way(answer: Answer) -> str:
    here, there = answer.pairing, answer.reciprocal
    gap = there.chance.mean - here.chance.mean
    if abs(gap) < _BETTER:
        return say("ask.way.equal")
    better, worse = (there, here) if gap > 0 else (here, there)
    reason = _why_better(better, worse)
    way = "other" if gap > 0 else "this"
    words = there.chance.words
    told = say(f"ask.way.{way}", words=words, why=f": {reason}" if reason else "")
    return told if len(told) + _INDENT <= screen_width() else say(f"ask.way.{way}", words=words, why="")


def _why_better(better: PairForecast, worse: PairForecast) -> str:
    """Name what differs most between the two ways round."""
    other = {reason.feature: reason.logit for reason in worse.reasons}
    gaps = [(reason.logit - other.get(reason.feature, 0.0), reason) for reason in better.reasons]
    gap, reason = max(gaps, key=lambda entry: entry[0], default=(0.0, None))
    if reason is None or gap < _CHANGES_LITTLE or reason.feature == "base":
        return ""
    return reason.fact


def _what_decides(pair: PairForecast) -> str:
    heavy = [r for r in pair.reasons if r.feature != "base" and abs(r.logit) >= _DECIDES][:_MOST_REASONS]
    facts = [_signed_fact(reason.fact, reason.logit) for reason in heavy]
    short = [fact for fact in facts if len(_decided([fact])) + _INDENT <= screen_width()]
    return _that_fits(_decided, short) if short else ""


def _decided(facts: Sequence[str]) -> str:
    words = say("ask.decides", reasons="; ".join(facts))
    return words[0].upper() + words[1:]


def _signed_fact(fact: str, logit: float) -> str:
    return say("ask.speaks_for" if logit > 0 else "ask.speaks_against", fact=fact)


def _to_mind(answer: Answer) -> str:
    kinds = dict.fromkeys(c.kind for c in (*answer.pairing.cautions, *answer.handling) if c.kind in _SHORT)
    if not kinds:
        return ""
    short = [say(f"cautions.short.{kind}") for kind in kinds]
    return _that_fits(lambda kept: say("ask.mind", cautions="; ".join(kept)), short)


def _that_fits(sentence: Callable[[Sequence[str]], str], parts: Sequence[str]) -> str:
    """Say as much as one line holds: the parts that matter least stand last, and give way first."""
    kept = list(parts)
    while len(kept) > 1 and len(sentence(kept)) + _INDENT > screen_width():
        kept.pop()
    return sentence(kept)


_SHORT = ("sex", "flowering", "ploidy", "hybrid", "handling")


def print_reasons(answer: Answer, *, fruit: str) -> None:
    """Print all that is behind an answer: distance, stages, reasons, past crosses, cautions, sources."""
    _print_one(answer.pairing, [near.words for near in answer.known_hybrids], fruit)
    line()
    there = answer.reciprocal
    line(
        say(
            "ask.reciprocal",
            seed=who(there.seed_parent, there.seed_plant),
            pollen=who(there.pollen_parent, there.pollen_plant),
        )
    )
    _print_one(there, [], fruit)
    line()
    paragraph(answer.basis.words)
    for note in answer.notes:
        paragraph(note)
    for caution in answer.handling:
        paragraph(caution.says)


def _print_one(pair: PairForecast, known: list[str], fruit: str) -> None:
    paragraph(_how_far(pair), indent=2)
    for words in known:
        paragraph(words, indent=2)
    if pair.past:
        paragraph(say("ask.past", crosses="; ".join(_past_words(past) for past in pair.past)), indent=2)
    _print_why(pair)
    _print_stages(pair, fruit)
    for caution in pair.cautions:
        paragraph(caution.says, indent=2, bullet="! ")


def _print_why(pair: PairForecast) -> None:
    """Print what adds up to the chance from one flower: those that change little as one, what is unknown last."""
    base, *terms = pair.reasons
    line("  " + say("ask.why"))
    paragraph(say("ask.base", percent=percent(chance_of(base.logit))), indent=6)
    large = [reason for reason in terms if abs(reason.logit) >= _CHANGES_LITTLE]
    for reason in large:
        paragraph(f"{reason.says} ({reason.logit:+.2f})", indent=4, bullet="+ " if reason.logit > 0 else "- ")
    rest = sum(reason.logit for reason in terms if reason not in large)
    if abs(rest) >= _CHANGES_NOTHING:
        paragraph(say("ask.rest", logit=f"{rest:+.2f}"), indent=6)
    middle = sum(reason.logit for reason in pair.reasons)
    paragraph(say("ask.unsure", middle=percent(chance_of(middle)), mean=percent(pair.per_flower.mean)), indent=6)


def _print_stages(pair: PairForecast, fruit: str) -> None:
    line("  " + say("ask.stages"))
    for stage in pair.stages:
        chance = percent_range(stage.chance.mean, stage.chance.low, stage.chance.high)
        what = say(f"stages.{stage.stage}", fruit=fruit)
        paragraph(say("ask.stage", what=what, words=stage.chance.words, percent=chance), indent=4)
        _print_past(stage)
        if stage.stage == "hold":
            paragraph(say("ask.seeds", fruit=fruit, seeds=f"{pair.seeds_per_pod:.3g}"), indent=4)


def _print_past(stage: StageForecast) -> None:
    """Print what past crosses did to a stage, with the pairings that weigh most."""
    past: PastWeights | None = stage.past
    if past is None:
        return
    heavy = [pairing for pairing in past.weightiest if abs(pairing.adds) >= _CHANGES_LITTLE][:_MOST_PAST]
    names = [
        say("ask.weighty", seed=bracketed(p.seed_parent), pollen=bracketed(p.pollen_parent), adds=f"{p.adds:+.2f}")
        for p in heavy
    ]
    most = say("ask.most_by", pairings=", ".join(names)) if names else ""
    before, after = percent(chance_of(past.prior_logit)), percent(chance_of(past.mode_logit))
    paragraph(say("ask.moved", before=before, after=after) + most, indent=8)


def _how_far(pair: PairForecast) -> str:
    far = pair.distance
    words = [
        say(
            "ask.distance",
            distance=f"{far.patristic:.3g}",
            unit=unit_in_words(far.unit),
            give_or_take=_give_or_take(far),
            relative=f"{far.relative:.2g}",
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
