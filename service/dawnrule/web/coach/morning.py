"""The squad this morning by verdict, as a page and as a sheet."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Self

from flask import Response, render_template, request

from dawnrule.advice.summary import (
    block_name,
    first_sentence,
    session_text,
    without_check_in,
)
from dawnrule.analytics.squad import (
    PLACES,
    AthleteMorning,
    MorningSummary,
    SquadFilter,
    by_place,
    group_parts,
    squad_mornings,
)
from dawnrule.application.heads import head_text
from dawnrule.errors import InvalidInput
from dawnrule.i18n.catalog import capital
from dawnrule.model.advice import Advice, Alternative, BlockAdvice
from dawnrule.schemas.query import day_of_address
from dawnrule.web.coach.concerns import read_concern_texts
from dawnrule.web.coach.layout import coach
from dawnrule.web.context import context
from dawnrule.web.http.locale import composer, decided_by_block, read_localized, say, texts
from dawnrule.web.http.responses import advice_sheet, csv_answer


@dataclass(frozen=True, slots=True)
class PartLine:
    """A line on a block or on parts with the same advice, and the verdict whose mark stands before
    it."""

    verdict: str
    text: str


def summarize_morning(one: AthleteMorning) -> MorningSummary:
    """Attach the advice that holds to a morning."""
    return MorningSummary(one, read_localized(one.stored) if one.stored else None)


def parts_of(advice: Advice) -> Iterator[PartLine]:
    """Describe the blocks of an advice or, by rules that decide part by part, its parts, in as few
    lines as possible; none where the day says it all."""
    if decided_by_block(advice):
        alone = len(advice.blocks) == 1
        yield from (_block_line(b, advice) for b in advice.blocks if not alone or b.has_sessions)
    elif len(advice.parts) > 1:
        yield from _part_lines(advice)


def _block_line(block: BlockAdvice, advice: Advice) -> PartLine:
    """Describe a block: its verdict, its limits where some of it may be done, and a session of each
    kind that may be done in its place; *Why* lists all of them."""
    words = composer()
    verdict = words.verdict_label(block.verdict, (block,))
    texts_of_block = [f"{capital(block_name(block, words))}: {verdict}."]
    if block.reason != advice.reason and block.rule is not None:
        texts_of_block.append(first_sentence(block.reason))
    if block.limits_said and block.is_trained:
        limits = texts().listing(block.limits_said)
        texts_of_block.append(say("alternative.limits", limits=limits))
    sessions = [session_text(one, words) for one in _one_of_each_kind(block.alternatives)]
    if sessions:
        texts_of_block.append(say("alternative.instead_any", sessions="; ".join(sessions)))
    return PartLine(block.verdict, " ".join(texts_of_block))


def _one_of_each_kind(sessions: Iterable[Alternative]) -> list[Alternative]:
    """Choose the first session of each kind: less of the same, an easy one in some way, the same
    goal elsewhere."""
    first: dict[tuple[bool, bool], Alternative] = {}
    for one in sessions:
        elsewhere = one.muscle_group is not None or one.pattern is not None
        first.setdefault((one.within_limits is True, elsewhere), one)
    return list(first.values())


def _part_lines(advice: Advice) -> Iterator[PartLine]:
    words = composer().vocabulary
    for parts in group_parts(advice, words):
        what = texts().listing([words.label(group) for group in parts.muscle_groups])
        goal, verdict = words.label(parts.goal), words.label(parts.verdict)
        sentence = "coach_morning.part" if what else "coach_morning.part_alone"
        text = say(sentence, goal=capital(goal), muscle_groups=what, verdict=verdict)
        opens = parts.opens_note or ""
        if parts.opens_at:
            opens = say("coach_morning.opens", time=_clock_text(parts.opens_at))
        sentences = (text, first_sentence(parts.reason), opens, parts.caution)
        yield PartLine(parts.verdict, " ".join(filter(None, sentences)))


def last_check_in(one: AthleteMorning) -> str:
    """Say when an athlete last checked in."""
    if one.days_without is None:
        return say("coach_morning.last_never")
    sentence = "last_yesterday" if one.days_without == 1 else "last_days"
    return say(f"coach_morning.{sentence}", days=one.days_without, date=one.last_check_in)


def _clock_text(time: datetime) -> str:
    """Write a time in its own zone: ``2026-03-09 18:00``."""
    return time.replace(tzinfo=None).isoformat(" ", "minutes")


_OK, _UNPROCESSABLE = 200, 422
_FIELDS = ("place", "muscle_group", "goal", "rule", "name")
_OF_THE_ADDRESS = ("lang", "date", *_FIELDS)


@dataclass(frozen=True, slots=True)
class SquadQuery:
    """The query in the address. ``on`` is None for each athlete's own today; ``faults`` says, by
    field, what is wrong with those that are ignored."""

    on: date | None
    sought: SquadFilter
    faults: Mapping[str, str]

    @property
    def is_narrowed(self) -> bool:
        """Whether anything but everybody's today is asked for."""
        return bool(self.faults) or self.on is not None or self.sought != SquadFilter()

    @classmethod
    def of(cls, given: Mapping[str, str]) -> Self:
        """Parse the address."""
        words = context().advisor.composer.vocabulary
        known = {"place": PLACES, "muscle_group": words.muscle_groups, "goal": words.goals}
        sought = {name: given.get(name, "") for name in _FIELDS}
        faults = {
            name: say("coach_morning.unknown_word", word=sought[name])
            for name, allowed in known.items()
            if sought[name] and sought[name] not in allowed
        }
        on, wrong_date = _date_of(given.get("date", ""))
        right = {name: value for name, value in sought.items() if name not in faults}
        return cls(on, SquadFilter(**right), faults | wrong_date)


@coach.get("/")
def morning() -> tuple[str, int]:
    """Show the squad by verdict, on a date or on each athlete's own today."""
    asked = SquadQuery.of(request.args)
    squad = _squad(asked.on)
    shown = [summary for summary in squad if asked.sought.admits(summary)]
    page = render_template(
        "coach/morning.html",
        asked=asked,
        choices=_choices(squad),
        as_asked={n: request.args[n] for n in _OF_THE_ADDRESS if n in request.args},
        squad=squad,
        head=head_text(context().store.read(lambda transaction: transaction.ledger.head())),
        concerns=read_concern_texts(),
        shown=shown,
        by_place=by_place(shown),
        dates=sorted({summary.morning.on.isoformat() for summary in squad}),
        parts_of=parts_of,
        last_check_in=last_check_in,
        listing=texts().listing,
    )
    return page, _UNPROCESSABLE if asked.faults else _OK


@coach.get("/squad.csv")
def morning_sheet() -> Response:
    """Answer with the same as CSV. Raises ``InvalidInput`` where the page would show an error."""
    asked = SquadQuery.of(request.args)
    if asked.faults:
        raise InvalidInput(" ".join(asked.faults.values()))
    found = [
        summary.advice
        or without_check_in(summary.morning.athlete.id, summary.morning.on, composer())
        for summary in sorted(_squad(asked.on), key=lambda summary: summary.order)
        if asked.sought.admits(summary)
    ]
    return csv_answer(advice_sheet(found), f"squad-{asked.on or 'today'}.csv")


def _choices(squad: Sequence[MorningSummary]) -> dict[str, list[tuple[str, str]]]:
    """List the choices of each field with their labels; of the rules, those that decided."""
    words = composer().vocabulary
    rules = {rule: title for summary in squad for rule, title in summary.rules.items()}
    return {
        "place": [(place, say(f"coach_morning.place_{place}")) for place in PLACES],
        "muscle_group": [(group, words.label(group)) for group in words.muscle_groups],
        "goal": [(goal, words.label(goal)) for goal in words.goals],
        "rule": sorted(rules.items(), key=lambda rule: rule[1]),
    }


def _squad(on: date | None) -> list[MorningSummary]:
    now = context().clock()
    return [
        summarize_morning(one) for one in context().store.read(lambda b: squad_mornings(b, now, on))
    ]


def _date_of(text: str) -> tuple[date | None, dict[str, str]]:
    if not text:
        return None, {}
    try:
        return day_of_address(text), {}
    except InvalidInput:
        return None, {"date": say("coach_morning.wrong_date", date=text)}
