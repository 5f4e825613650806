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
    from crosscompat.advice.figures import Distance, Past
    from crosscompat.advice.reasoning import StageForecast

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
    names = {"seed": who(pair.seed_parent, pair.seed_plant), "pollen": who(pair.pollen_parent, pair.pollen_plant)}
    paragraph(say("ask.pairing", **names) + (say("ask.invented") if answer.invented else ""))
    for says in (
        say("ask.verdict", verdict=pair.verdict_words, sure=say(f"verdict.sure.{_how_sure(answer)}")),
        _chance(pair, usual=usual),
        _experience(answer),
        _flowers_needed(pair),
        _other_way(answer),
        _what_decides(pair),
        _to_mind(answer),
    ):
        if says:
            paragraph(says, indent=_INDENT)


def _chance(pair: PairForecast, *, usual: bool) -> str:
    percents = percent_range(pair.chance.mean, pair.chance.low, pair.chance.high, short=True)
    said = {"words": pair.chance.words, "percent": percents, "flowers": pair.flowers}
    if not usual:
        return say("ask.chance", **said)
    full = say("ask.chance_usual", **said)
    return full if _fits(full) else say("ask.chance_usual_short", **said)


def _how_sure(answer: Answer) -> str:
    sure = answer.pairing.sure
    return sure if sure == "guess" or answer.basis.kind == "crosses" else "published"


def _fits(sentence: str) -> bool:
    return len(sentence) + _INDENT <= screen_width()


def _experience(answer: Answer) -> str:
    """Say what the grower did with this pair before, or how much the chance rests on; and what is published."""
    past = [cross for cross in answer.pairing.past if cross.friend is None]
    own, friends = (_made(answer, of_friends=of_friends) for of_friends in (False, True))
    if own or friends:
        return next(filter(_fits, (f"{own} {friends}".strip(), own or friends)), own or friends)
    basis = answer.basis
    if past:
        cause = next((cross.lost_to for cross in past if cross.outcome == "open"), past[-1].lost_to)
        rest = say("ask.made_lost" if cause else "ask.made_open", n=len(past), cause=cause)
    elif basis.crosses:
        rest = say("ask.others", n=basis.crosses)
    elif basis.under_way:
        rest = say("ask.others_open", n=basis.under_way)
    else:
        rest = say("ask.guess") if basis.kind == "crosses" or not basis.changed else basis.words
    hybrids = [near.hybrid for near in answer.known_hybrids if near.same and near.outcome == "hybrid"]
    if answer.pairing.past or not hybrids:
        return rest
    name = next(filter(None, hybrids), None)
    record = say("ask.on_record", name=name) if name else say("ask.on_record_unnamed")
    return next(filter(_fits, (f"{rest} {record}", f"{say('ask.not_made')} {record}")), rest)


def _made(answer: Answer, *, of_friends: bool) -> str:
    """Say how often this pair was crossed before, by the grower or by friends, and took; nothing where it was not."""
    past = [cross for cross in answer.pairing.past if bool(cross.friend) is of_friends]
    over = [cross for cross in past if cross.outcome in {"took", "failed"}]
    who = ", ".join(dict.fromkeys(cross.friend for cross in over if cross.friend))
    if len(over) == 1 and not of_friends:
        return say(f"ask.made_once.{over[0].outcome}")
    took = sum(cross.outcome == "took" for cross in over)
    return say(f"ask.made{'_by' if of_friends else ''}", n=len(over), took=took, who=who) if over else ""


def _flowers_needed(pair: PairForecast) -> str:
    from crosscompat.model.forecast import MOST_FLOWERS

    half, four_fifths = (_about(n) for n in (pair.flowers_for_half, pair.flowers_for_four_fifths))
    if half is None:
        return say("ask.flowers_many", most=MOST_FLOWERS)
    if four_fifths is None:
        return say("ask.flowers_half", half=half, most=MOST_FLOWERS)
    if half == four_fifths:
        return say("ask.flowers_enough", n=half)
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
    reason, words = _why_better(better, worse), there.chance.words
    way = "ask.way.other" if gap > 0 else "ask.way.this"
    plain = say(way, words=words, why="")
    full = say(way, words=words, why=f": {reason}") if reason else plain
    return full if _fits(full) else plain


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
    kept = list(parts)
    while len(kept) > 1 and not _fits(sentence(kept)):
        kept.pop()
    return sentence(kept) if kept else ""


def _print_reasons(answer: Answer, *, fruit: str) -> None:
    """Print all that is behind an answer: distance, stages, reasons, past crosses, cautions, sources."""
    _print_pair(answer.pairing, [near.words for near in answer.known_hybrids], fruit)
    line()
    there = answer.reciprocal
    names = {"seed": who(there.seed_parent, there.seed_plant), "pollen": who(there.pollen_parent, there.pollen_plant)}
    line(say("ask.reciprocal", **names))
    if _alike(answer.pairing, there):
        paragraph(say("ask.alike"), indent=2)
    else:
        _print_figures(there, fruit)
    _print_cautions(there, but=[caution.says for caution in answer.pairing.cautions])
    line()
    for says in (answer.basis.words, *answer.notes, *(caution.says for caution in answer.handling)):
        paragraph(says)


def _print_pair(pair: PairForecast, known: list[str], fruit: str) -> None:
    for words in (_how_far(pair), *known):
        paragraph(words, indent=2)
    _print_figures(pair, fruit)
    _print_cautions(pair)


def _print_figures(pair: PairForecast, fruit: str) -> None:
    if pair.past:
        paragraph(say("ask.past", crosses="; ".join(_past_words(past) for past in pair.past)), indent=2)
    _print_why(pair)
    _print_stages(pair, fruit)


def _print_cautions(pair: PairForecast, but: Sequence[str] = ()) -> None:
    for caution in pair.cautions:
        if caution.says not in but:
            paragraph(caution.says, indent=2, bullet="! ")


def _alike(pair: PairForecast, other: PairForecast) -> bool:
    """Tell whether the figures both ways round would be printed alike."""
    sides = ({reason.feature: reason.logit for reason in side.reasons} for side in (pair, other))
    here, there = sides
    gaps = [here.get(name, 0.0) - there.get(name, 0.0) for name in here | there]
    gaps += [one.chance.mean - two.chance.mean for one, two in zip(pair.stages, other.stages, strict=True)]
    return not pair.past and not other.past and max(map(abs, gaps)) < _CHANGES_NOTHING


def _print_why(pair: PairForecast) -> None:
    """Print what adds up to the chance from one flower: those that change little as one, what is unknown last."""
    from crosscompat.model.forecast import chance_of

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
    """Print what past crosses did to a stage, with the pairings that weigh most the way it went."""
    from crosscompat.model.forecast import chance_of

    past = stage.past
    if past is None:
        return
    way = 1.0 if past.mode_logit > past.prior_logit else -1.0
    heavy = [pairing for pairing in past.weightiest if way * pairing.adds >= _CHANGES_LITTLE][:_MOST_PAST]
    names = ", ".join(
        say("ask.weighty", seed=bracketed(p.seed_parent), pollen=bracketed(p.pollen_parent)) for p in heavy
    )
    before, after = percent(chance_of(past.prior_logit)), percent(chance_of(past.mode_logit))
    most = say("ask.most_by", pairings=names) if names else ""
    if before != after:
        paragraph(say("ask.moved", before=before, after=after) + most, indent=8)


def _how_far(pair: PairForecast) -> str:
    far = pair.distance
    unit, times = unit_in_words(far.unit), f"{far.relative:.2g}"
    relative = say("ask.usual") if times == "1" else say("ask.times_usual", times=times)
    give = _give_or_take(far)
    words = [say("ask.distance", distance=f"{far.patristic:.3g}", unit=unit, give_or_take=give, relative=relative)]
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
    key = "ask.give_or_take" if far.trees is None else "ask.give_or_take_over"
    return say(key, spread=f"{far.spread:.2g}", n=far.trees)


def _past_words(past: Past) -> str:
    flowers = say("ask.past_flowers", n=past.flowers) if past.flowers else say("ask.past_uncounted")
    outcome = say(f"ask.outcome.{past.outcome}", cause=past.lost_to)
    return say(
        "ask.past_cross",
        number=past.number,
        date=past.date_words or spoken_date(date.fromisoformat(past.date)),
        flowers=flowers,
        outcome=outcome,
    )
