"""Print the answer about one pairing: eight lines, and everything behind them on request."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

from crosscompat.cli.options import Flowers, Folder, Json, Why, two_parents
from crosscompat.cli.output import line, paragraph, print_json, screen_width, unit_in_words, who
from crosscompat.cli.session import collection_or_carried
from crosscompat.ground.dates import spoken_date
from crosscompat.ground.names import bracketed
from crosscompat.ground.wording import say
from crosscompat.show.chances import percent, percent_range

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from crosscompat.advice.ask import Answer, PairForecast
    from crosscompat.advice.figures import Past
    from crosscompat.advice.parents import Caution
    from crosscompat.advice.reasoning import PastWeights

_CHANGES_NOTHING, _CHANGES_LITTLE, _DECIDES = 0.05, 0.15, 0.4
_MOST_PAST, _MOST_REASONS = 2, 2
_SHOWS = 0.005
_BETTER = 0.1
_INDENT = 2
_SHORT = ("sex", "flowering", "ploidy", "hybrid", "handling")

_Part = TypeVar("_Part", str, tuple[str, str])


def ask(
    parents: Annotated[list[str], typer.Argument(metavar="SEED POLLEN", help=say("help.parents"))],
    flowers: Flowers = None,
    folder: Folder = None,
    *,
    why: Why = False,
    as_json: Json = False,
) -> None:
    """Ask and print."""
    from crosscompat.advice.ask import ask as answer_of
    from crosscompat.advice.figures import is_usual

    seed, pollen = two_parents(parents)
    collection = collection_or_carried(folder, (seed, pollen))
    answer = answer_of(collection, seed, pollen, flowers=flowers)
    if as_json:
        print_json(answer)
        return
    print_answer(answer, usual=is_usual(collection, flowers))
    if why:
        line()
        _print_reasons(answer, fruit=collection.settings.fruit_word)


def print_answer(answer: Answer, *, usual: bool = False) -> None:
    """Print an answer in at most eight lines; ``usual`` flowers, of which nobody was asked, are said to be so."""
    pair = answer.pairing
    sure = pair.sure if pair.sure == "guess" or answer.basis.kind == "crosses" else "published"
    percents = percent_range(pair.chance.mean, pair.chance.low, pair.chance.high, short=True)
    chance = {"words": pair.chance.words, "percent": percents, "flowers": pair.flowers}
    paragraph(say("ask.pairing", **_names(pair)) + (say("ask.invented") if answer.invented else ""))
    for says in (
        say("ask.verdict", verdict=pair.verdict_words, sure=say(f"verdict.sure.{sure}")),
        _first_that_fits(say("ask.chance_usual", **chance), say("ask.chance_usual_short", **chance))
        if usual
        else say("ask.chance", **chance),
        _experience(answer),
        _flowers_needed(pair),
        _other_way(pair, answer.reciprocal),
        _what_decides(pair),
        _to_mind(answer),
    ):
        if says:
            paragraph(says, indent=_INDENT)


def _names(pair: PairForecast) -> dict[str, str]:
    return {"seed": who(pair.seed_parent, pair.seed_plant), "pollen": who(pair.pollen_parent, pair.pollen_plant)}


def _fits(sentence: str) -> bool:
    return len(sentence) + _INDENT <= screen_width()


def _first_that_fits(*sentences: str) -> str:
    """Return the first sentence that one line holds, else the last."""
    return next(filter(_fits, sentences), sentences[-1])


def _experience(answer: Answer) -> str:
    """Say what the grower did with this pair before, or how much the chance rests on; and what is published."""
    past, basis = answer.pairing.past, answer.basis
    own, friends = (_made([cross for cross in past if bool(cross.friend) is theirs]) for theirs in (False, True))
    if own or friends:
        return _first_that_fits(f"{own} {friends}".strip(), own or friends)
    mine = [cross for cross in past if cross.friend is None]
    if mine:
        cause = next((cross.lost_to for cross in mine if cross.outcome == "open"), mine[-1].lost_to)
        rest = say("ask.made_lost" if cause else "ask.made_open", n=len(mine), cause=cause)
    elif basis.crosses or basis.under_way:
        rest = say("ask.others" if basis.crosses else "ask.others_open", n=basis.crosses or basis.under_way)
    else:
        rest = say("ask.guess") if basis.kind == "crosses" or not basis.changed else basis.words
    hybrids = [near.hybrid for near in answer.known_hybrids if near.same and near.outcome == "hybrid"]
    if past or not hybrids:
        return rest
    name = next(filter(None, hybrids), None)
    record = say("ask.on_record", name=name) if name else say("ask.on_record_unnamed")
    return _first_that_fits(f"{rest} {record}", f"{say('ask.not_made')} {record}", rest)


def _made(past: Sequence[Past]) -> str:
    """Say how often this pair was crossed before, by the grower or by friends, and took; nothing where it was not."""
    over = [cross for cross in past if cross.outcome in {"took", "failed"}]
    friends = ", ".join(dict.fromkeys(cross.friend for cross in over if cross.friend))
    if len(over) == 1 and not friends:
        return say(f"ask.made_once.{over[0].outcome}")
    took = sum(cross.outcome == "took" for cross in over)
    return say(f"ask.made{'_by' if friends else ''}", n=len(over), took=took, who=friends) if over else ""


def _flowers_needed(pair: PairForecast) -> str:
    from crosscompat.model.forecast import MOST_FLOWERS

    half, four_fifths = (_about(n) for n in (pair.flowers_for_half, pair.flowers_for_four_fifths))
    if half is None or four_fifths is None:
        return say("ask.flowers_many" if half is None else "ask.flowers_half", half=half, most=MOST_FLOWERS)
    return say(
        "ask.flowers_enough" if half == four_fifths else "ask.flowers", half=half, four_fifths=four_fifths, n=half
    )


def _about(flowers: int | None) -> int | None:
    """Round a number of flowers as far as it is known: to fives from ten on, to tens from thirty."""
    if flowers is None or flowers < 10:  # noqa: PLR2004 - said above
        return flowers
    step = 5 if flowers < 30 else 10  # noqa: PLR2004 - said above
    return step * -(-flowers // step)


def _other_way(here: PairForecast, there: PairForecast) -> str:
    """Say which way round is better, and what differs most between the two."""
    gap = there.chance.mean - here.chance.mean
    if abs(gap) < _BETTER:
        return say("ask.way.equal")
    better, worse = (there, here) if gap > 0 else (here, there)
    other = {reason.feature: reason.logit for reason in worse.reasons}
    gaps = [(reason.logit - other.get(reason.feature, 0.0), reason) for reason in better.reasons]
    most, reason = max(gaps, key=lambda entry: entry[0])
    why = "" if most < _CHANGES_LITTLE or reason.feature == "base" else f": {reason.fact}"
    way = "ask.way.other" if gap > 0 else "ask.way.this"
    return _first_that_fits(*(say(way, words=there.chance.words, why=words) for words in (why, "")))


def _what_decides(pair: PairForecast) -> str:
    heavy = [r for r in pair.reasons if r.feature != "base" and abs(r.logit) >= _DECIDES][:_MOST_REASONS]
    sides = [("ask.speaks_for", r.fact) if r.logit > 0 else ("ask.speaks_against", r.fact) for r in heavy]

    def decided(kept: Sequence[tuple[str, str]]) -> str:
        facts = {side: ", and ".join(fact for other, fact in kept if other == side) for side, _ in kept}
        words = say("ask.decides", reasons="; ".join(say(side, fact=fact) for side, fact in facts.items()))
        return words[0].upper() + words[1:]

    return _as_much_as_fits(decided, [side for side in sides if _fits(decided([side]))])


def _to_mind(answer: Answer) -> str:
    kinds = dict.fromkeys(c.kind for c in (*answer.pairing.cautions, *answer.handling) if c.kind in _SHORT)
    short = [say(f"cautions.short.{kind}") for kind in kinds]
    return _as_much_as_fits(lambda kept: say("ask.mind", cautions="; ".join(kept)), short)


def _as_much_as_fits(sentence: Callable[[Sequence[_Part]], str], parts: Sequence[_Part]) -> str:
    """Say as much as one line holds: the parts that matter least stand last, and give way first."""
    return _first_that_fits(*(sentence(parts[:kept]) for kept in range(len(parts), 0, -1))) if parts else ""


def _print_reasons(answer: Answer, *, fruit: str) -> None:
    """Print all that is behind an answer: distance, stages, reasons, past crosses, cautions, sources."""
    here, there = answer.pairing, answer.reciprocal
    for words in (_how_far(here), *(near.words for near in answer.known_hybrids)):
        paragraph(words, indent=2)
    _print_figures(here, fruit)
    _print_cautions(here.cautions)
    line()
    line(say("ask.reciprocal", **_names(there)))
    if _alike(here, there):
        paragraph(say("ask.alike"), indent=2)
    else:
        _print_figures(there, fruit)
    _print_cautions([caution for caution in there.cautions if caution not in here.cautions])
    line()
    for says in (answer.basis.words, *answer.notes, *(caution.says for caution in answer.handling)):
        paragraph(says)


def _print_cautions(cautions: Sequence[Caution]) -> None:
    for caution in cautions:
        paragraph(caution.says, indent=2, bullet="! ")


def _alike(pair: PairForecast, other: PairForecast) -> bool:
    """Tell whether the figures both ways round would be printed alike."""
    here, there = ({reason.feature: reason.logit for reason in side.reasons} for side in (pair, other))
    gaps = [here.get(name, 0.0) - there.get(name, 0.0) for name in here | there]
    gaps += [one.chance.mean - two.chance.mean for one, two in zip(pair.stages, other.stages, strict=True)]
    return not pair.past and not other.past and max(map(abs, gaps)) < _CHANGES_NOTHING


def _print_figures(pair: PairForecast, fruit: str) -> None:
    """Print earlier crosses, what adds up to the chance from one flower, what changes little as one, and the stages."""
    if pair.past:
        paragraph(say("ask.past", crosses="; ".join(map(_past_words, pair.past))), indent=2)
    line("  " + say("ask.why"))
    base, *terms = pair.reasons
    paragraph(say("ask.base", percent=_percent_of(base.logit)), indent=6)
    for reason in terms:
        if abs(reason.logit) >= _CHANGES_LITTLE:
            paragraph(f"{reason.says} ({reason.logit:+.2f})", indent=4, bullet="+ " if reason.logit > 0 else "- ")
    rest = sum(reason.logit for reason in terms if abs(reason.logit) < _CHANGES_LITTLE)
    if abs(rest) >= _CHANGES_NOTHING:
        paragraph(say("ask.rest", logit=f"{rest:+.2f}"), indent=6)
    middle = _percent_of(sum(reason.logit for reason in pair.reasons))
    paragraph(say("ask.unsure", middle=middle, mean=percent(pair.per_flower.mean)), indent=6)
    line("  " + say("ask.stages"))
    for stage in pair.stages:
        chance = percent_range(stage.chance.mean, stage.chance.low, stage.chance.high)
        what = say(f"stages.{stage.stage}", fruit=fruit)
        paragraph(say("ask.stage", what=what, words=stage.chance.words, percent=chance), indent=4)
        if stage.past is not None:
            _print_past(stage.past)
        if stage.stage == "hold":
            paragraph(say("ask.seeds", fruit=fruit, seeds=f"{pair.seeds_per_pod:.3g}"), indent=4)


def _print_past(past: PastWeights) -> None:
    """Print what past crosses did to a stage, with the pairings that weigh most the way it went."""
    way = 1.0 if past.mode_logit > past.prior_logit else -1.0
    heavy = [pairing for pairing in past.weightiest if way * pairing.adds >= _CHANGES_LITTLE][:_MOST_PAST]
    names = ", ".join(
        say("ask.weighty", seed=bracketed(p.seed_parent), pollen=bracketed(p.pollen_parent)) for p in heavy
    )
    before, after = _percent_of(past.prior_logit), _percent_of(past.mode_logit)
    if before != after:
        most = say("ask.most_by", pairings=names) if names else ""
        paragraph(say("ask.moved", before=before, after=after) + most, indent=8)


def _percent_of(logit: float) -> str:
    from crosscompat.model.forecast import chance_of

    return percent(chance_of(logit))


def _how_far(pair: PairForecast) -> str:
    """Say how far apart the two stand, and how unsure that is unless nothing of it would show."""
    far = pair.distance
    unit, times, give = unit_in_words(far.unit), f"{far.relative:.2g}", ""
    relative = say("ask.usual") if times == "1" else say("ask.times_usual", times=times)
    if far.spread and far.spread >= _SHOWS * far.patristic:
        key = "ask.give_or_take" if far.trees is None else "ask.give_or_take_over"
        give = say(key, spread=f"{far.spread:.2g}", n=far.trees)
    words = [say("ask.distance", distance=f"{far.patristic:.3g}", unit=unit, give_or_take=give, relative=relative)]
    if far.nodes is not None:
        words.append(say("ask.nodes", n=far.nodes))
    if far.clade_size is not None:
        words.append(say("ask.clade", n=far.clade_size, group=f" ({far.clade_name})" if far.clade_name else ""))
    return "; ".join(words) + "."


def _past_words(past: Past) -> str:
    flowers = say("ask.past_flowers", n=past.flowers) if past.flowers else say("ask.past_uncounted")
    day = past.date_words or spoken_date(date.fromisoformat(past.date))
    outcome = say(f"ask.outcome.{past.outcome}", cause=past.lost_to)
    return say("ask.past_cross", number=past.number, date=day, flowers=flowers, outcome=outcome)
