"""The squad's morning, most urgent first."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import groupby
from typing import Any

from dawnrule.advice.composer import UNANSWERED, Composer, unanswered
from dawnrule.advice.squad_lines import ToReadOut, read_out
from dawnrule.i18n.catalog import capital
from dawnrule.model import Verdict, Vocabulary
from dawnrule.model.advice import Advice, PartAdvice
from dawnrule.model.concern_transitions import lapse
from dawnrule.model.concerns import Concern, ConcernState
from dawnrule.model.entities import Athlete
from dawnrule.store import StoredAdvice, Transaction

WARNING_SIGN = "warning-sign"
"""The place of athletes with an open warning sign, whatever else is known of the morning."""

NOT_CHECKED_IN = "not-checked-in"
"""The place of athletes without a check-in, or with one that answers none of the questions that can
stop training."""

DAY_OFF = "day-off"
"""The place of athletes who may train and have nothing planned."""

PLACES = (
    WARNING_SIGN,
    Verdict.REST.value,
    Verdict.SWAP.value,
    NOT_CHECKED_IN,
    Verdict.TRAIN.value,
    DAY_OFF,
)
"""The places of a squad's morning, the most urgent first."""


@dataclass(frozen=True, slots=True)
class AthleteMorning:
    """One athlete's morning of a local date.

    ``stored`` is the advice that holds, None without a check-in; ``last_check_in`` the date of the
    last check-in before it, None when there never was one; ``concerns`` what is open on this date,
    where it is today's; ``groups`` the ids of the groups that the athlete is in. ``is_new`` says
    that the advice was given since somebody last looked, and ``verdict_before`` is what held then,
    None where nothing did.
    """

    athlete: Athlete
    on: date
    stored: StoredAdvice | None
    last_check_in: date | None
    concerns: tuple[Concern, ...] = ()
    groups: frozenset[str] = frozenset()
    is_new: bool = False
    verdict_before: str | None = None

    @property
    def place(self) -> str:
        """One of ``PLACES``."""
        if any(_is_urgent(concern) for concern in self.concerns):
            return WARNING_SIGN
        return self.stored.verdict if self.stored else NOT_CHECKED_IN

    @property
    def days_without(self) -> int | None:
        """Days since the last check-in; None when there never was one."""
        return (self.on - self.last_check_in).days if self.last_check_in else None


def _is_urgent(concern: Concern) -> bool:
    """Tell whether a concern is a warning sign, or may be one, that nobody has answered yet."""
    is_sign = concern.kind.is_warning_sign or concern.suspected
    return is_sign and concern.state is ConcernState.OPEN


def squad_mornings(
    transaction: Transaction,
    now: datetime,
    on: date | None = None,
    since: datetime | None = None,
) -> list[AthleteMorning]:
    """Read the morning of every athlete on a date, by default each one's own today; what is new is
    what was given after ``since``, nothing where that is None. Both times are aware."""
    squad = [(athlete, on or athlete.today_or_utc(now)) for athlete in transaction.athletes.all()]
    dates = {day for _, day in squad}
    given = {
        (one.athlete_id, day): one for day in dates for one in transaction.advice.for_date(day)
    }
    last = {day: transaction.check_ins.last_dates(day) for day in dates}
    before = {day: transaction.advice.verdicts_at(day, since) for day in dates} if since else {}
    concerns = _open_today(transaction, [athlete for athlete, _ in squad], now)
    groups = transaction.groups.all()
    return [
        AthleteMorning(
            athlete,
            day,
            stored := given.get((athlete.id, day)),
            last[day].get(athlete.id),
            concerns[athlete.id] if day == athlete.today_or_utc(now) else (),
            frozenset(group.id for group in groups if athlete.id in group.athletes),
            stored is not None and since is not None and stored.decided_at > since,
            before.get(day, {}).get(athlete.id),
        )
        for athlete, day in squad
    ]


def _open_today(
    transaction: Transaction, squad: Sequence[Athlete], now: datetime
) -> Mapping[str, tuple[Concern, ...]]:
    """Read what is open about a squad now, by athlete."""
    athletes = {athlete.id: athlete for athlete in squad}
    found: defaultdict[str, tuple[Concern, ...]] = defaultdict(tuple)
    for one in transaction.concerns.not_ended():
        concern = lapse(one, athletes[one.athlete_id].today_or_utc(now), now)
        if not concern.is_closed:
            found[one.athlete_id] += (concern,)
    return found


def zone_of_most(squad: Iterable[Athlete]) -> str:
    """Find the time zone in which most of a squad live: the likeliest of who looks after it; UTC
    for nobody."""
    most = Counter(athlete.time_zone for athlete in squad).most_common(1)
    return most[0][0] if most else "UTC"


@dataclass(frozen=True, slots=True)
class MorningSummary:
    """A morning with its advice, None where there is none."""

    morning: AthleteMorning
    advice: Advice | None

    @property
    def is_unasked(self) -> bool:
        """Whether it says to train, and nobody answered for pain, illness or warning signs."""
        advice = self.advice
        if advice is None or self.morning.place != Verdict.TRAIN:
            return False
        return len(unanswered(advice.not_reported)) == len(UNANSWERED)

    @property
    def place(self) -> str:
        """One of ``PLACES``."""
        if self.is_unasked:
            return NOT_CHECKED_IN
        if self.morning.place == Verdict.TRAIN and self.advice and self.advice.is_day_off:
            return DAY_OFF
        return self.morning.place

    @property
    def order(self) -> tuple[int, str, str]:
        """Sort key: most urgent first, then by name."""
        athlete = self.morning.athlete
        return PLACES.index(self.place), athlete.name.casefold(), athlete.id

    @property
    def rules(self) -> dict[str, str]:
        """The rules that decided on the day and its parts: titles by id."""
        advised = self.advice.day_and_parts if self.advice else ()
        return {one.rule.id: one.rule.title for one in advised if one.rule}


def squad_to_read_out(squad: Iterable[MorningSummary], composer: Composer) -> str:
    """Say what each of a squad does this morning, the most urgent last, for all to hear."""
    in_order = sorted(squad, key=lambda summary: summary.order)
    return read_out(
        (
            ToReadOut(
                one.morning.athlete.name,
                None if one.is_unasked else one.advice,
                one.place == WARNING_SIGN,
            )
            for one in in_order
        ),
        composer,
    )


@dataclass(frozen=True, slots=True)
class SquadFilter:
    """A filter on a squad; empty fields admit everybody. Muscle group and goal must meet in one
    part."""

    group: str = ""
    place: str = ""
    muscle_group: str = ""
    goal: str = ""
    rule: str = ""
    name: str = ""

    def admits(self, summary: MorningSummary) -> bool:
        """Whether an athlete passes the filter."""
        return (
            (not self.group or self.group in summary.morning.groups)
            and self.place in ("", summary.place)
            and (not self.rule or self.rule in summary.rules)
            and self._has_part(summary.advice)
            and self._is_named(summary.morning.athlete)
        )

    def _has_part(self, advice: Advice | None) -> bool:
        if not self.muscle_group and not self.goal:
            return True
        return any(
            self.muscle_group in ("", part.muscle_group) and self.goal in ("", part.goal)
            for part in (advice.parts if advice else ())
        )

    def _is_named(self, athlete: Athlete) -> bool:
        sought = self.name.strip().casefold()
        return sought in athlete.name.casefold() or sought == athlete.id.casefold()


def by_place(squad: Iterable[MorningSummary]) -> dict[str, list[MorningSummary]]:
    """Group the squad by place, in reading order; empty places are left out."""
    in_order = sorted(squad, key=lambda summary: summary.order)
    grouped = groupby(in_order, lambda summary: summary.place)
    return {place: list(summaries) for place, summaries in grouped}


@dataclass(frozen=True, slots=True)
class PartGroup:
    """Parts of one block with the same advice: their muscle groups, none for a block without; the
    reason without the muscle group's name, empty when it is that of the day; and the caution of a
    part that rests, empty when it is that of the day."""

    goal: str
    muscle_groups: tuple[str, ...]
    verdict: Verdict
    reason: str
    caution: str
    opens_at: datetime | None
    opens_note: str | None


def group_parts(advice: Advice, vocabulary: Vocabulary) -> Iterator[PartGroup]:
    """Group the parts of an advice that differ in the muscle group only."""
    alike: dict[Any, list[PartAdvice]] = {}
    for part in advice.parts:
        reason = _nameless_reason(part, vocabulary)
        key = (part.block, part.verdict, reason, part.opens_at, part.opens_note)
        alike.setdefault(key, []).append(part)
    for (_, verdict, reason, opens_at, opens_note), parts in alike.items():
        is_reason_of_day = all(part.reason == advice.reason for part in parts)
        yield PartGroup(
            goal=parts[0].goal,
            muscle_groups=tuple(part.muscle_group for part in parts if part.muscle_group),
            verdict=verdict,
            reason="" if is_reason_of_day else reason,
            caution=_caution_of_rest(parts[0], advice),
            opens_at=opens_at,
            opens_note=opens_note,
        )


def _caution_of_rest(part: PartAdvice, advice: Advice) -> str:
    """The caution of a part that rests, unless it is that of the day."""
    differs = part.verdict is Verdict.REST and part.caution != advice.caution
    return part.caution if differs else ""


def _nameless_reason(part: PartAdvice, vocabulary: Vocabulary) -> str:
    """Drop the muscle group from a reason: "Chest: soreness 3 of 10" and the same of the shoulders
    are alike."""
    if part.rule is None:
        return ""
    label = vocabulary.label(part.muscle_group) if part.muscle_group else ""
    named, _, rest = part.reason.partition(": ")
    return capital(rest if rest and named.casefold() == label.casefold() else part.reason)
