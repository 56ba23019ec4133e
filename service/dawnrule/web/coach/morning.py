"""The squad this morning, a line for each athlete, as a page and as a sheet."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Self
from zoneinfo import ZoneInfo

from flask import Response, render_template, request

from dawnrule.advice.squad_lines import what_else
from dawnrule.advice.summary import (
    block_name,
    first_sentence,
    session_text,
    without_check_in,
)
from dawnrule.analytics.squad import (
    PLACES,
    WARNING_SIGN,
    AthleteMorning,
    MorningSummary,
    SquadFilter,
    by_place,
    group_parts,
    squad_mornings,
    squad_to_read_out,
    zone_of_most,
)
from dawnrule.application.heads import head_text
from dawnrule.errors import InvalidInput
from dawnrule.i18n.catalog import capital
from dawnrule.model.advice import Advice, Alternative, BlockAdvice
from dawnrule.model.time_zones import zone_named
from dawnrule.schemas.query import day_of_address
from dawnrule.store import Group
from dawnrule.web.coach.concerns import concern_texts
from dawnrule.web.coach.layout import coach
from dawnrule.web.coach.rest_of_week import BrokenWeeks, broken_weeks
from dawnrule.web.context import context
from dawnrule.web.http import login
from dawnrule.web.http.locale import (
    composer,
    dated,
    decided_by_block,
    label,
    read_localized,
    say,
    texts,
)
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
            opens = say("coach_morning.opens", time=dated(parts.opens_at))
        sentences = (text, first_sentence(parts.reason), opens, parts.caution)
        yield PartLine(parts.verdict, " ".join(filter(None, sentences)))


def last_check_in(one: AthleteMorning) -> str:
    """Say when an athlete last checked in."""
    if one.days_without is None:
        return say("coach_morning.last_never")
    sentence = "last_yesterday" if one.days_without == 1 else "last_days"
    return say(f"coach_morning.{sentence}", days=one.days_without, date=dated(one.last_check_in))


_OK, _UNPROCESSABLE = 200, 422
_LOOKS_SECONDS = 0.3
"""How long the page may look at weeks that have changed."""

_FIELDS = ("group", "place", "muscle_group", "goal", "rule", "name")
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
    def of(cls, given: Mapping[str, str], groups: Sequence[Group]) -> Self:
        """Parse the address."""
        words = context().advisor.composer.vocabulary
        ids = [group.id for group in groups]
        known = {
            "group": ids,
            "place": PLACES,
            "muscle_group": words.muscle_groups,
            "goal": words.goals,
        }
        sought = {name: given.get(name, "") for name in _FIELDS}
        faults = {
            name: say("coach_morning.unknown_word", word=sought[name])
            for name, allowed in known.items()
            if sought[name] and sought[name] not in allowed
        }
        on, wrong_date = _date_of(given.get("date", ""))
        right = {name: value for name, value in sought.items() if name not in faults}
        return cls(on, SquadFilter(**right), faults | wrong_date)


@dataclass(frozen=True, slots=True)
class Line:
    """An athlete's morning in one line, with what is open about the athlete.

    ``says`` is the headline, or that there is no check-in; ``also`` what it leaves out, and
    ``is_new`` what changed since the last look, empty where nothing did.
    """

    summary: MorningSummary
    says: str
    also: str
    is_new: str
    concerns: Sequence[str]

    @classmethod
    def of(cls, summary: MorningSummary) -> Self:
        """Put a morning into a line."""
        one, advice = summary.morning, summary.advice
        concerns = concern_texts(one.concerns).get(one.athlete.id, [])
        if advice is None:
            is_urgent = one.place == WARNING_SIGN
            says, also = last_check_in(one), concerns[0] if is_urgent else ""
        elif summary.is_unasked:
            says, also = say("coach_morning.questions_open"), ""
        else:
            says, also = advice.headline, what_else(advice, composer())
        return cls(summary, says, also, _what_is_new(one), concerns)


def _what_is_new(one: AthleteMorning) -> str:
    if not one.is_new:
        return ""
    if one.stored is None or one.verdict_before in (None, one.stored.verdict):
        return say("coach_morning.is_new")
    return say("coach_morning.was", verdict=label(one.verdict_before))


@coach.get("/")
def morning() -> tuple[str, int]:
    """Show a line for each athlete, on a date or on each one's own today."""
    groups = context().store.read(lambda transaction: transaction.groups.all())
    asked, since = SquadQuery.of(request.args, groups), login.look()
    squad = _squad(asked.on, since)
    shown = [summary for summary in squad if asked.sought.admits(summary)]
    page = render_template(
        "coach/morning.html",
        asked=asked,
        choices=_choices(squad, groups),
        as_asked={n: request.args[n] for n in _OF_THE_ADDRESS if n in request.args},
        squad=squad,
        head=head_text(context().store.read(lambda transaction: transaction.ledger.head())),
        shown=shown,
        by_place={
            place: [Line.of(one) for one in those] for place, those in by_place(shown).items()
        },
        since=_on_the_squads_clock(since, squad) if since else None,
        new=sum(summary.morning.is_new for summary in shown),
        to_read_out=squad_to_read_out(shown, composer()),
        date=asked.on or _date_of_most(squad),
        parts_of=parts_of,
        broken=None if asked.on else _broken_weeks(shown),
    )
    return page, _UNPROCESSABLE if asked.faults else _OK


def _broken_weeks(shown: Sequence[MorningSummary]) -> BrokenWeeks:
    return broken_weeks([summary.morning for summary in shown], _LOOKS_SECONDS)


@coach.get("/squad.csv")
def morning_sheet() -> Response:
    """Answer with the same as CSV. Raises ``InvalidInput`` where the page would show an error."""
    groups = context().store.read(lambda transaction: transaction.groups.all())
    asked = SquadQuery.of(request.args, groups)
    if asked.faults:
        raise InvalidInput(" ".join(asked.faults.values()))
    found = [
        summary.advice
        or without_check_in(summary.morning.athlete.id, summary.morning.on, composer())
        for summary in sorted(_squad(asked.on), key=lambda summary: summary.order)
        if asked.sought.admits(summary)
    ]
    return csv_answer(advice_sheet(found), f"squad-{asked.on or 'today'}.csv")


def _choices(
    squad: Sequence[MorningSummary], groups: Sequence[Group]
) -> dict[str, list[tuple[str, str]]]:
    """List the choices of each field with their labels; of the rules, those that decided."""
    words = composer().vocabulary
    rules = {rule: title for summary in squad for rule, title in summary.rules.items()}
    named = {"group": [(group.id, group.name) for group in groups]} if groups else {}
    return named | {
        "place": [(place, say(f"coach_morning.place_{place}")) for place in PLACES],
        "muscle_group": [(group, words.label(group)) for group in words.muscle_groups],
        "goal": [(goal, words.label(goal)) for goal in words.goals],
        "rule": sorted(rules.items(), key=lambda rule: rule[1]),
    }


def _squad(on: date | None, since: datetime | None = None) -> list[MorningSummary]:
    now = context().clock()
    mornings = context().store.read(lambda b: squad_mornings(b, now, on, since))
    return [summarize_morning(one) for one in mornings]


def _date_of_most(squad: Sequence[MorningSummary]) -> date:
    """Find the date where most athletes live."""
    return context().clock().astimezone(_zone_of_most(squad)).date()


def _on_the_squads_clock(moment: datetime, squad: Sequence[MorningSummary]) -> str:
    """Write a time as the clock of most athletes shows it, with its date where that is another."""
    local = moment.astimezone(_zone_of_most(squad))
    return f"{local:%H:%M}" if local.date() == _date_of_most(squad) else dated(local)


def _zone_of_most(squad: Sequence[MorningSummary]) -> ZoneInfo:
    return zone_named(zone_of_most(one.morning.athlete for one in squad))


def _date_of(text: str) -> tuple[date | None, dict[str, str]]:
    if not text:
        return None, {}
    try:
        return day_of_address(text), {}
    except InvalidInput:
        return None, {"date": say("coach_morning.wrong_date", date=text)}
