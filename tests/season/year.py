"""A year of one athlete: check-ins, training, clearances, and what must hold on every morning.

The promises are kept by a second, much simpler memory (``Dangers``), which knows nothing of
concerns: it remembers each sign that was reported and lets only a clearance end it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

from dawnrule.advice.blocks import decide_blocks
from dawnrule.facts.derive import MorningFacts, PartFacts, derive_facts
from dawnrule.facts.history import CHECK_IN_DAYS, SESSION_DAYS
from dawnrule.facts.pain import passed_through
from dawnrule.facts.suspicion import suspected_signs
from dawnrule.model import Verdict
from dawnrule.model.concern_transitions import (
    Actor,
    Opening,
    clear,
    confirm_typing_error,
    consider_report,
    health_report,
    lapse,
    open_by,
    withdraw_clearance,
)
from dawnrule.model.concerns import (
    ActorRole,
    Clearance,
    Concern,
    ConcernKind,
    ConcernRules,
    Restriction,
)
from dawnrule.model.entities import Athlete, Block, CheckIn, History, Pain, Session, Sleep
from dawnrule.model.training import groups_of
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.rules.evaluation.decision import DayDecision, Decision
from dawnrule.rules.rule_set import Rule
from dawnrule.rules.staged_returns import BundledReturns, stage_plans
from tests.season.around import Around
from tests.season.body import SUSPICIOUS, WORDS, Body
from tests.season.doing import done
from tests.season.kinds import COMPETITIONS, FORENOON, Kind

ZONE = ZoneInfo("Europe/Berlin")
FIRST = date(2026, 1, 1)
ONE_DAY = timedelta(days=1)
SEVEN = time(7)
WITHOUT_FEVER = timedelta(hours=23)

ANSWERS_NONE_ALTHOUGH_IT_IS_THERE = 0.25
LEAVES_IT_OPEN = 0.1
FORGETS_THE_MORNING = 0.08
CORRECTS_IT_WITHIN_THE_HOUR = 0.2
TRAINS_WHATEVER_IS_SAID = 0.04
SEES_A_CLINICIAN = 0.12
CLINICIAN_TAKES_IT_BACK = 0.02
COACH_CONFIRMS_A_SLIP = 0.7

EVERYBODY_STOPS_ABOVE, OTHERS_STOP_FROM = 32.2, 30.1
"""Heat (°C WBGT) in which nobody trains, and in which those not used to it do not."""

INDOORS = ("free-weights", "machines")

HOW_HARD = {"intervals": 8.0, "hypertrophy": 7.0, "strength": 7.0, "steady-endurance": 3.0}
"""Session RPE of what was done as planned."""

HEAD_INJURY = "head-injury"
FEVER = "fever"
RISK_OF_A_KNOCK = ("court-sport", "jumping", "downhill-running")


@dataclass(slots=True)
class Dangers:
    """What was reported and has not been lifted, remembered as simply as can be."""

    signs: dict[str, date] = field(default_factory=dict)
    ill_since: datetime | None = None
    sore_places: dict[str, tuple[Pain, date]] = field(default_factory=dict)
    orders: list[Restriction] = field(default_factory=list)

    @property
    def none(self) -> bool:
        """Whether nothing is open."""
        return not (self.signs or self.ill_since or self.sore_places)

    def hear(self, check_in: CheckIn, at: datetime) -> None:
        """Take in a check-in: what is told, and what an answered "none" ends."""
        rules = ConcernRules.bundled()
        for sign in check_in.warning_signs or ():
            self.signs[sign] = check_in.date
        for pain in check_in.pain or ():
            if pain.where in SUSPICIOUS:
                self.signs[SUSPICIOUS[pain.where][0]] = check_in.date
        has_fever = (check_in.temperature_c or 0.0) >= rules.fever_from_c
        hides_fever = bool(check_in.fever_medicine) and self.ill_since is not None
        if check_in.illness in rules.illnesses or has_fever or hides_fever:
            self.ill_since = at
        elif check_in.illness == "none" and self.ill_since is not None:
            is_later = check_in.date > self.ill_since.date()
            if is_later and at - self.ill_since >= WITHOUT_FEVER:
                self.ill_since = None
        if check_in.pain is not None:
            resting = (pain for pain in check_in.pain if pain.kind in rules.pain_kinds)
            told = {pain.where: (pain, check_in.date) for pain in resting}
            today = {w: p for w, p in self.sore_places.items() if p[1] == check_in.date}
            self.sore_places = today | told

    def rest_day(self, day: date) -> list[str]:
        """What rests the whole of a date."""
        found = [
            sign for sign, on in self.signs.items() if sign != HEAD_INJURY or day <= on + ONE_DAY
        ]
        return [*found, "illness"] if self.ill_since is not None else found

    def orders_on(self, day: date) -> Iterator[Restriction]:
        """The orders that are in force on a date."""
        return (order for order in self.orders if order.until is None or day <= order.until)

    def forget(self, day: date) -> None:
        """Take in that all that was reported on a date was a typing error."""
        self.signs = {sign: on for sign, on in self.signs.items() if on != day}
        self.sore_places = {w: p for w, p in self.sore_places.items() if p[1] != day}
        if self.ill_since is not None and self.ill_since.date() == day:
            self.ill_since = None

    def lift(self, signs: Iterable[str]) -> None:
        """Take in a clearance."""
        for sign in signs:
            self.signs.pop(sign, None)


@dataclass(frozen=True, slots=True)
class Broken:
    """A promise that was not kept."""

    athlete: str
    day: date
    what: str
    verdict: str


@dataclass(slots=True)
class Year:
    """A year of one athlete. ``counts`` are days by what was said, ``reasons`` those of swap and
    rest by rule, ``seen`` how often a promise was looked at, ``broken`` those that were not kept.
    """

    athlete: Athlete
    kind: Kind
    decider: Decider
    rules: Sequence[Rule]
    random: Random
    body: Body
    around: Around
    slipped_on: date | None = None
    check_ins: list[CheckIn] = field(default_factory=list)
    sessions: list[Session] = field(default_factory=list)
    concerns: dict[str, Concern] = field(default_factory=dict)
    dangers: Dangers = field(default_factory=Dangers)
    counts: Counter[str] = field(default_factory=Counter)
    reasons: Counter[str] = field(default_factory=Counter)
    seen: Counter[str] = field(default_factory=Counter)
    broken: list[Broken] = field(default_factory=list)

    def live(self, days: int, first: date = FIRST) -> None:
        """Live so many days."""
        for number in range(days):
            self._live_a_day(first + number * ONE_DAY)

    def _live_a_day(self, day: date) -> None:
        self.body.new_day(day)
        self._see_somebody(day)
        at = datetime.combine(day, SEVEN, ZONE)
        plan = tuple(self._planned(day))
        if self.random.random() < FORGETS_THE_MORNING:
            if self.dangers.none:
                self._do(plan)
            return
        answer = None
        for check_in in self._check_ins_of(day, at, plan):
            answer = self._answered(check_in)
        assert answer is not None, "every morning has a check-in"
        decision, morning = answer
        self.counts[decision.verdict.value if plan else "day off"] += 1
        if plan and decision.deciding is not None:
            self.reasons[decision.deciding.id] += 1
        self._train(plan, decision, morning)

    def _planned(self, day: date) -> Iterator[Block]:
        if self.body.is_away(day):
            return
        hour, blocks = self.kind.week.get(day.weekday(), (SEVEN, ()))
        if self.kind.competition is not None and day in COMPETITIONS:
            hour, blocks = FORENOON, (self.kind.competition,)
        for block in blocks:
            indoors = True if block.modality in INDOORS else None
            yield replace(block, starts_at=datetime.combine(day, hour, ZONE), indoors=indoors)

    # ---- check-ins

    def _check_ins_of(self, day: date, at: datetime, plan: tuple[Block, ...]) -> Iterator[CheckIn]:
        """The check-in of a morning, and where it told something, perhaps a second one that takes
        it back."""
        check_in = self._check_in(day, at, plan)
        slip = self.around.slip()
        if slip is not None and self._is_well and self.slipped_on is None:
            self.slipped_on = day
            yield replace(check_in, **slip)
            yield replace(check_in, reported_at=at + timedelta(minutes=30))
            return
        yield check_in
        told = check_in.warning_signs or check_in.pain or check_in.illness not in (None, "none")
        if told and self.random.random() < CORRECTS_IT_WITHIN_THE_HOUR:
            yield replace(
                check_in,
                reported_at=at + timedelta(minutes=30),
                warning_signs=(),
                pain=(),
                illness="none",
                temperature_c=None,
                fever_medicine=None,
            )

    @property
    def _is_well(self) -> bool:
        body = self.body
        return self.dangers.none and not (body.sign or body.illness or body.pain)

    def _check_in(self, day: date, at: datetime, plan: tuple[Block, ...]) -> CheckIn:
        body = self.body
        answers: dict[str, Any] = {
            "warning_signs": (body.sign[0],) if body.sign else (),
            "illness": body.illness[0] if body.illness else "none",
            "pain": (body.pain[0],) if body.pain else (),
        }
        for question, none in (("warning_signs", ()), ("illness", "none"), ("pain", ())):
            chance = self.random.random()
            if chance < LEAVES_IT_OPEN:
                answers[question] = None
            elif chance < LEAVES_IT_OPEN + ANSWERS_NONE_ALTHOUGH_IT_IS_THERE:
                answers[question] = none
        if body.illness and body.illness[0] == FEVER:
            answers["temperature_c"] = self._one_of(38.6, 38.1, 37.6, None)
            answers["fever_medicine"] = self._one_of(True, False, None)
        groups = {group for block in plan for group in groups_of(block, WORDS)}
        soreness = {group: round(body.soreness.get(group, 0.0)) for group in sorted(groups)}
        soreness |= {group: round(value) for group, value in body.soreness.items()}
        return CheckIn(
            self.athlete.id,
            day,
            plan,
            reported_at=at,
            sleep=Sleep(body.hours_of_sleep(day), self.random.choice((2, 3, 3, 4, 4, 4, 5))),
            soreness=soreness,
            fatigue=body.rating(day),
            stress=body.rating(day),
            heat=self.around.heat_of(day),
            journey=self.around.journey_of(day),
            **answers,
        )

    def _one_of(self, *values: Any) -> Any:
        return self.random.choice(values)

    def _answered(self, check_in: CheckIn) -> tuple[DayDecision, MorningFacts]:
        """Decide a check-in as the application does, and look at the promises."""
        at = check_in.reported_at
        assert at is not None
        suspected = suspected_signs(check_in, WORDS)
        report = health_report(check_in, at, f"{self.athlete.id} {at.isoformat()}", suspected)
        changed = consider_report(
            tuple(self.concerns.values()), report, self._new_id, stage_plans(), self._sessions_since
        )
        self.concerns |= {concern.id: concern for concern in changed}
        self.dangers.hear(check_in, at)
        history = self._history(check_in)
        morning = derive_facts(self.athlete, check_in, history, at, returns=BundledReturns())
        parts = [part.facts for part in morning.parts]
        blocks = [part.block for part in morning.parts]
        decision = self.decider.decide_by_evaluator(morning.day, parts, blocks)
        self._look(check_in, morning, decision)
        self.check_ins = [one for one in self.check_ins if one.date != check_in.date]
        self.check_ins.append(check_in)
        return decision, morning

    def _history(self, check_in: CheckIn) -> History:
        first = check_in.date - CHECK_IN_DAYS * ONE_DAY
        earliest = check_in.date - SESSION_DAYS * ONE_DAY
        self.check_ins = [one for one in self.check_ins if one.date >= first]
        self.sessions = [one for one in self.sessions if one.starts_at.date() >= earliest]
        rules = ConcernRules.bundled()
        known = tuple(
            concern
            for concern in self.concerns.values()
            if not concern.is_closed or concern.rests_whole_date(check_in.date, rules)
        )
        before = tuple(one for one in self.check_ins if one.date < check_in.date)
        return History(before, tuple(self.sessions), before, known)

    def _new_id(self) -> str:
        return f"{self.athlete.id}-{len(self.concerns)}-{self.random.random()}"

    def _sessions_since(self, concern: Concern) -> int:
        groups = set(concern.pain.muscle_groups) if concern.pain else set()
        since = concern.stage_at
        if since is None:
            return 0
        return sum(
            session.starts_at > since
            and any(not groups or groups & _borne_by(block) for block in session.blocks)
            for session in self.sessions
        )

    # ---- the promises

    def _look(self, check_in: CheckIn, morning: MorningFacts, decision: DayDecision) -> None:
        """Compare a decision with what was reported and not lifted."""
        for what in self.dangers.rest_day(check_in.date):
            self.seen[what] += 1
            if decision.verdict is not Verdict.REST:
                self._break(check_in, f"trains with {what} not lifted", decision)
        for part, decided in zip(morning.parts, decision.parts, strict=True):
            self._look_at_a_part(check_in, part, decided)

    def _look_at_a_part(self, check_in: CheckIn, part: PartFacts, decided: Decision) -> None:
        trains = decided.verdict is Verdict.TRAIN
        if HEAD_INJURY in self.dangers.signs:
            self.seen["knock not cleared"] += 1
            if trains and part.facts.get("modality") in RISK_OF_A_KNOCK:
                self._break(check_in, "risk of a knock before a clearance", decided)
        for pain, _ in self.dangers.sore_places.values():
            if part.muscle_group in pain.muscle_groups:
                self.seen["pain"] += 1
                if decided.verdict is not Verdict.REST:
                    self._break(check_in, f"loads what hurts: {pain.where}", decided)
        self._look_at_heat(check_in, part, decided)
        for order in self.dangers.orders_on(check_in.date):
            self._look_at_an_order(check_in, order, part, decided)

    def _look_at_heat(self, check_in: CheckIn, part: PartFacts, decided: Decision) -> None:
        heat = check_in.heat
        if heat is None or heat.wbgt_c is None or part.facts.get("indoors") is True:
            return
        stops = heat.wbgt_c > EVERYBODY_STOPS_ABOVE or (
            heat.wbgt_c >= OTHERS_STOP_FROM and not heat.acclimatised
        )
        if stops:
            self.seen["heat"] += 1
            if decided.verdict is not Verdict.REST:
                self._break(check_in, f"trains at {heat.wbgt_c} °C WBGT", decided)

    def _look_at_an_order(
        self, check_in: CheckIn, order: Restriction, part: PartFacts, decided: Decision
    ) -> None:
        what, facts = order.restrictions, part.facts
        rests = what.rests_everything or part.muscle_group in what.muscle_groups_rest
        minutes, most = facts.get("planned_minutes"), what.minutes_at_most
        is_beyond = (
            facts.get("goal") in what.goals_not
            or (what.no_contact and facts.get("modality") in RISK_OF_A_KNOCK)
            or (most is not None and isinstance(minutes, int | float) and minutes > most)
        )
        if rests or is_beyond:
            self.seen["order"] += 1
        if rests and decided.verdict is not Verdict.REST:
            self._break(check_in, f"trains what was ordered to rest: {order.reason}", decided)
        if is_beyond and decided.verdict is Verdict.TRAIN:
            self._break(check_in, f"more than was allowed: {order.reason}", decided)

    def _break(self, check_in: CheckIn, what: str, decision: DayDecision | Decision) -> None:
        verdict = decision.verdict.value
        self.broken.append(Broken(self.athlete.id, check_in.date, what, verdict))

    # ---- training

    def _train(self, plan: Sequence[Block], decision: DayDecision, morning: MorningFacts) -> None:
        """Train what the advice allows, mostly."""
        if self.random.random() < TRAINS_WHATEVER_IS_SAID:
            self._do(plan)
        else:
            self._do(tuple(done(plan, decide_blocks(plan, morning, decision, self.rules))))

    def _do(self, blocks: Sequence[Block]) -> None:
        if not blocks:
            return
        starts_at = blocks[0].starts_at
        assert starts_at is not None
        minutes = sum(block.minutes or 25 for block in blocks)
        rpe = max(HOW_HARD.get(block.goal, 6.0) for block in blocks)
        self.sessions.append(Session(self.athlete.id, starts_at, minutes, tuple(blocks), rpe))
        self.body.train(blocks)

    # ---- coaches and clinicians

    def _see_somebody(self, day: date) -> None:
        """Clear what is open now and then, pass stages, and take a clearance back once in a
        while."""
        at = datetime.combine(day, time(6), ZONE)
        by = Actor(ActorRole.CLINICIAN, day, at)
        for concern in list(self.concerns.values()):
            current = lapse(concern, day, at)
            if self.slipped_on is not None and current.correction_on == self.slipped_on:
                current = self._confirmed(current, by)
            if current.kind.is_warning_sign and not current.is_closed:
                current = self._seen_by(current, by)
            self.concerns[current.id] = current
        self.slipped_on = None
        order = self.around.order_of(day)
        if order is not None:
            self.dangers.orders.append(order)
            opening = Opening(ConcernKind.RESTRICTION, restriction=order)
            opened = open_by((), self.athlete.id, opening, by, self._new_id())
            self.concerns[opened.id] = opened

    def _confirmed(self, concern: Concern, by: Actor) -> Concern:
        """Confirm mostly that what was taken back was a slip."""
        slipped_on = concern.correction_on
        if concern.is_closed or slipped_on is None or self.random.random() >= COACH_CONFIRMS_A_SLIP:
            return concern
        self.seen["slip confirmed"] += 1
        self.dangers.forget(slipped_on)
        return confirm_typing_error(concern, by)

    def _seen_by(self, concern: Concern, by: Actor) -> Concern:
        chance = self.random.random()
        if concern.clearance is None and chance < SEES_A_CLINICIAN:
            clearance = Clearance(f"{concern.id} {by.on}", by.role, by.on)
            self.dangers.lift(concern.signs)
            return clear(concern, clearance, by, stage_plans())
        if concern.clearance is not None and chance < CLINICIAN_TAKES_IT_BACK:
            self.dangers.signs |= dict.fromkeys(concern.signs, concern.last_reported_on)
            return withdraw_clearance(concern, concern.clearance.id, by)
        return concern


def _borne_by(block: Block) -> set[str]:
    return {*groups_of(block, WORDS), *passed_through(block, WORDS)}
