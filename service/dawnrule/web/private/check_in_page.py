"""The page for today's check-in and its advice."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, TypeAlias

from flask import Blueprint, Response, g, redirect, render_template, request, url_for
from werkzeug.exceptions import HTTPException
from werkzeug.wrappers import Response as AnyResponse

from dawnrule.advice.concern_text import describe_concern
from dawnrule.application.batches import Begin
from dawnrule.application.check_ins import Submitted
from dawnrule.application.concern_reports import concerns_on
from dawnrule.application.plans import plan_changed_at
from dawnrule.errors import DawnruleError, Forbidden, InvalidInput
from dawnrule.model import FactDictionary, Verdict, Vocabulary
from dawnrule.model.concerns import Concern
from dawnrule.model.entities import Athlete, Block, CheckIn
from dawnrule.model.serialization import from_json, to_json
from dawnrule.model.time_zones import zone_named
from dawnrule.model.training import groups_of
from dawnrule.schemas.check_in import MOST_PAINS
from dawnrule.store import Purpose, StoredAdvice, StoredCheckIn, Transaction
from dawnrule.web.context import context
from dawnrule.web.http.locale import (
    composer,
    dated,
    label,
    language_asked_for,
    read_localized,
    say,
    texts,
)
from dawnrule.web.http.problems import answer_error, answer_http_error
from dawnrule.web.http.rate_limits import limit_private_address
from dawnrule.web.private.addresses import CHECK_IN
from dawnrule.web.private.answer import Answer, time_text
from dawnrule.web.private.controls import CHOICES, HOURS_SLEPT, is_between
from dawnrule.web.private.form import (
    COACH,
    DATE,
    OFF,
    OWN,
    SEEN,
    SIGNS,
    SLEEP_SHOWN,
    WELL,
    WHOLE_PAGE,
    Answers,
    Faults,
    Plan,
    answers_of,
    chosen_plan,
    describes_own,
    faults_of,
    hours_shown,
    hours_written,
    parse_check_in,
    plans_to_choose_from,
    section_of,
    signs_in,
    stops_training,
    tells_pain,
    with_plan,
    with_signs_counted,
    without_faulty,
)
from dawnrule.web.private.visitor import keep_private, visitor


def plan_text(plan: Plan, athlete: Athlete) -> str:
    """Summarise every block of a plan."""
    if not plan:
        return say("phone.plan_nothing")
    return "; ".join(_block(block, athlete) for block in plan)


_FLAGS = ("new_exercise", "to_failure")


def _block(block: Block, athlete: Athlete) -> str:
    parts = [label(block.goal)]
    if block.pattern or block.muscle_groups:
        groups = [block.pattern] if block.pattern else block.muscle_groups
        parts.append(texts().listing([label(group) for group in groups]))
    if block.modality:
        parts.append(label(block.modality))
    if block.starts_at:
        parts.append(block.starts_at.astimezone(zone_named(athlete.time_zone)).strftime("%H:%M"))
    if block.effort is not None:
        parts.append(say("phone.plan_effort", effort=texts().number(f"{block.effort:g}")))
    parts += [say(f"phone.plan_{flag}") for flag in _FLAGS if getattr(block, flag)]
    return ", ".join(parts)


@dataclass(frozen=True, slots=True)
class Day:
    """One athlete's today: the newest check-in and the advice that was given on it, None before
    the first, the plans that can be chosen from, the concerns that are open, and when a coach
    changed the plan of a check-in that was already in, by the athlete's clock."""

    athlete: Athlete
    date: date
    stored: StoredCheckIn | None
    plans: Mapping[str, Plan]
    given: StoredAdvice | None
    concerns: tuple[Concern, ...] = ()
    plan_changed_at: datetime | None = None

    @classmethod
    def of(cls, transaction: Transaction, athlete: Athlete, now: datetime) -> Day:
        """Read the day."""
        today = athlete.today(now)
        stored = transaction.check_ins.latest(athlete.id, today)
        plans = plans_to_choose_from(
            athlete,
            from_json(CheckIn, stored.body).plan if stored else None,
            _coach_plan(transaction, athlete, today),
            _yesterday_plan(transaction, athlete, today - timedelta(days=1)),
        )
        given = transaction.advice.latest(athlete.id, today)
        open_now = concerns_on(transaction.concerns.current(athlete.id, today), today, now)
        changed = plan_changed_at(transaction, stored)
        changed = changed and changed.astimezone(zone_named(athlete.time_zone))
        return cls(athlete, today, stored, plans, given, open_now, changed)

    @property
    def as_of(self) -> datetime | None:
        """When the advice was given, by the athlete's clock."""
        if self.given is None:
            return None
        return self.given.decided_at.astimezone(zone_named(self.athlete.time_zone))

    @property
    def revision(self) -> int:
        """The revision of today's check-in; 0 before the first."""
        return self.stored.revision if self.stored else 0

    def answers(self) -> Answers:
        """Return today's earlier answers; before the first check-in, only the coach's plan is
        chosen."""
        if self.stored is not None:
            return answers_of(from_json(CheckIn, self.stored.body), self.plans)
        return Answers({"plan": (COACH,)} if COACH in self.plans else {})

    @property
    def plan_unless_chosen(self) -> str:
        """The name of the plan that counts if none is chosen: that of today's earlier check-in, the
        coach's, or a day off."""
        return self.answers().one("plan") or OFF

    def muscle_groups(self, chosen: str) -> tuple[Sequence[str], Sequence[str]]:
        """Split the muscle groups into those of the chosen plan, or of all plans, and the
        others."""
        words = Vocabulary.bundled()
        plans = [self.plans[chosen]] if chosen in self.plans else self.plans.values()
        planned = {group for plan in plans for block in plan for group in groups_of(block, words)}
        first = [group for group in words.muscle_groups if group in planned]
        return first, [group for group in words.muscle_groups if group not in planned]


def _coach_plan(transaction: Transaction, athlete: Athlete, on: date) -> Plan | None:
    planned = transaction.plans.get(athlete.id, on)
    return planned.blocks if planned else None


def _yesterday_plan(
    transaction: Transaction, athlete: Athlete, on: date
) -> tuple[Block, ...] | None:
    stored = transaction.check_ins.latest(athlete.id, on)
    return from_json(CheckIn, stored.body).plan if stored else None


BeginCheckIn: TypeAlias = Begin[CheckIn, Submitted]

page = Blueprint("private", __name__, url_prefix=CHECK_IN)

_POLICY = (
    "default-src 'none'; style-src 'self'; base-uri 'none'; form-action 'self'; "
    "frame-ancestors 'none'"
)
_FROM_HERE = ("same-origin", "none")
_OPAQUE = "null"
_REFUSED, _SEE_OTHER = 422, 303
_LEFT_OUT = "left_out"
_NOT_ASKED = (DATE, SEEN, SIGNS, WELL, SLEEP_SHOWN)
_PROBLEMS_IN_WORDS = (403, 404, 413, 429, 503)


@dataclass(frozen=True, slots=True)
class Refused:
    """A check-in that was refused, with its faults, and the day as it stands."""

    day: Day
    answers: Answers
    faults: Faults


@dataclass(frozen=True, slots=True)
class Accepted:
    """A check-in that was stored. The sections in ``left_out`` were unanswered or unreadable, and
    count as something else or not at all."""

    left_out: Sequence[str] = ()


@page.get("/<token>")
@limit_private_address
def show_page(token: str) -> Response:
    """Show the page, filled in with today's earlier answers, below the advice on them."""
    _, athlete = visitor(token, Purpose.CHECK_IN)
    now = context().clock()
    day = context().store.read(lambda transaction: Day.of(transaction, athlete, now))
    return rendered(day, day.answers(), Faults({}))


@page.post("/<token>")
@limit_private_address
def send(token: str) -> AnyResponse:
    """Store the check-in or its correction and show the advice, or show what is wrong."""
    _refuse_other_sites()
    address, athlete = visitor(token, Purpose.CHECK_IN)
    answers, now = Answers.of_form(request.form), context().clock()
    begin = context().answer_for(address.id)

    def accept(transaction: Transaction) -> Refused | Accepted:
        return accept_answers(
            transaction, Day.of(transaction, athlete, now), answers, address.id, begin
        )

    result = context().store.write(accept)
    if isinstance(result, Refused):
        return rendered(result.day, result.answers, result.faults, _REFUSED)
    lang = language_asked_for()
    shown_at = url_for("private.show_page", token=token, left_out=result.left_out, lang=lang)
    return redirect(shown_at, _SEE_OTHER)


@page.after_request
def keep_off_disks(response: Response) -> Response:
    """Keep answers out of caches: several people may use the same phone."""
    response.headers["Cache-Control"] = "private, no-store"
    response.headers["Content-Security-Policy"] = _POLICY
    return keep_private(response)


@page.errorhandler(DawnruleError)
def show_error(error: DawnruleError) -> Response:
    """Show one of our own errors in words."""
    return _in_words(answer_error(error))


@page.errorhandler(HTTPException)
def show_http_error(error: HTTPException) -> Response:
    """Show an error of Flask in words."""
    return _in_words(answer_http_error(error))


def accept_answers(
    transaction: Transaction,
    day: Day,
    answers: Answers,
    address_id: str,
    begin: BeginCheckIn,
) -> Refused | Accepted:
    """Store the answers unless something is wrong with them. A warning sign is always stored."""
    if signs_in(answers):
        return _accept_warning_sign(transaction, day, answers, address_id, begin)
    if _is_for_other_day(day, answers):
        return _refuse_other_day(day, answers)
    stops = stops_training(answers)
    counted = with_plan(answers, day.plan_unless_chosen) if stops else answers
    check_in = parse_check_in(counted, day.athlete, day.date, day.plans, _stored(day))
    if isinstance(check_in, Faults):
        return Refused(day, answers, check_in)
    if to_json(check_in) != _stored(day) and _was_changed_elsewhere(day, answers, address_id):
        newer = answers.completed_by(day.answers())
        return Refused(day, newer, Faults({WHOLE_PAGE: "phone.wrong.newer"}))
    try:
        begin(check_in)(transaction)
    except InvalidInput as invalid:
        return Refused(day, answers, faults_of(invalid, answers))
    return Accepted() if counted == answers else Accepted(("plan",))


def _accept_warning_sign(
    transaction: Transaction,
    day: Day,
    answers: Answers,
    address_id: str,
    begin: BeginCheckIn,
) -> Accepted:
    """Store a warning sign with everything else that can be read and what others have sent
    meanwhile. On a page opened for another day, the sign alone counts."""
    if _is_for_other_day(day, answers):
        only_signs = Answers({SIGNS: answers.many(SIGNS)})
        return _accept_readable(
            transaction, day, only_signs.completed_by(day.answers()), answers, begin
        )
    if _was_changed_elsewhere(day, answers, address_id):
        answers = answers.completed_by(day.answers())
    return _accept_readable(transaction, day, answers, answers, begin)


def _accept_readable(
    transaction: Transaction,
    day: Day,
    counted: Answers,
    typed: Answers,
    begin: BeginCheckIn,
) -> Accepted:
    """Leave out faulty answers until none is left. If nothing else helps, store the sign alone,
    with a day off.

    Raises ``InvalidInput`` when even that fails.
    """
    kept = with_signs_counted(counted, day.plan_unless_chosen)
    while wrong := _wrong_unless_stored(transaction, day, kept, begin):
        fewer = with_signs_counted(without_faulty(kept, wrong), day.plan_unless_chosen)
        if fewer == kept:
            signs = signs_in(kept)
            signs_alone = CheckIn(day.athlete.id, day.date, plan=(), warning_signs=signs)
            begin(signs_alone)(transaction)
            kept = Answers({})
            break
        kept = fewer
    return Accepted(_left_out(typed, kept))


def _wrong_unless_stored(
    transaction: Transaction, day: Day, answers: Answers, begin: BeginCheckIn
) -> Mapping[str, str]:
    """Store the answers, or return what is wrong with them, by control."""
    check_in = parse_check_in(answers, day.athlete, day.date, day.plans, _stored(day))
    if isinstance(check_in, Faults):
        return check_in.by_control
    try:
        begin(check_in)(transaction)
    except InvalidInput as invalid:
        return faults_of(invalid, answers).by_control
    return {}


def _left_out(typed: Answers, kept: Answers) -> Sequence[str]:
    """List the sections with answers that did not count, and the plan if none was chosen."""
    lost = (
        section_of(name)
        for name, texts in typed.given.items()
        if any(texts) and name not in _NOT_ASKED and not _counts(name, typed, kept)
    )
    unplanned = () if chosen_plan(typed) else ("plan",)
    return sorted({*lost, *unplanned})


def _counts(name: str, typed: Answers, kept: Answers) -> bool:
    """Return whether an answer is kept; described pains answer whether there is pain."""
    is_described = name == "pain" and kept.pains() > 0
    return is_described or kept.many(name) == typed.many(name)


def _stored(day: Day) -> Mapping[str, Any] | None:
    return day.stored.body if day.stored else None


def _is_for_other_day(day: Day, answers: Answers) -> bool:
    return answers.one(DATE) not in ("", day.date.isoformat())


def _refuse_other_day(day: Day, answers: Answers) -> Refused:
    """Refuse a page opened before midnight: its answers stay, with the plans of the new day."""
    kept = {name: texts for name, texts in answers.given.items() if name != "plan"}
    completed = Answers(kept).completed_by(day.answers())
    return Refused(day, completed, Faults({WHOLE_PAGE: "phone.wrong.new_day"}))


def _was_changed_elsewhere(day: Day, answers: Answers, address_id: str) -> bool:
    """Return whether somebody else has sent a check-in since this page was opened."""
    seen = answers.one(SEEN)
    newest = str(day.revision)
    return day.stored is not None and seen != newest and day.stored.posted_by != address_id


def _refuse_other_sites() -> None:
    """Raise ``Forbidden`` for a form on another site. Under this page's referrer policy browsers
    send the origin ``null``, so that is accepted."""
    site = request.headers.get("Sec-Fetch-Site", _FROM_HERE[0])
    origin = request.headers.get("Origin", _OPAQUE)
    here = origin == _OPAQUE or origin.partition("://")[2] == request.host
    if site not in _FROM_HERE or not here:
        raise Forbidden("A check-in is sent from its own page only.")


def rendered(
    day: Day,
    answers: Answers,
    faults: Faults,
    status: int = 200,
    template: str = "private/check_in.html",
) -> Response:
    """Render the page with what was answered and what is wrong with it."""
    chosen, by_control = chosen_plan(answers), faults.by_control
    planned, others = day.muscle_groups(chosen)
    left_out = {section_of(name) for name in request.args.getlist(_LEFT_OUT)}
    html = render_template(
        template,
        day=day,
        answer=_answer(day),
        forecast=_forecast(day),
        answers=answers,
        faults=by_control,
        chosen=chosen,
        planned=planned,
        others=others,
        open_others=_any_answered(others, answers, by_control),
        open_own=chosen == OWN or describes_own(answers),
        open_pain=tells_pain(answers) or any(f.startswith("pain/") for f in by_control),
        pains=min(answers.pains() + 1, MOST_PAINS),
        left_out=[name for name in texts().section("phone.at") if name in left_out],
        called=_called(day.athlete.name),
        own=OWN,
        ratings=_ratings,
        hours_slept=HOURS_SLEPT,
        hours_written=hours_written(answers),
        hours_shown=hours_shown(answers),
        shown=texts().number,
        yes_or_no=CHOICES,
        words=Vocabulary.bundled(),
        plan_text=plan_text,
        time_text=time_text,
        concerns=[dated(str(describe_concern(one, composer()))) for one in day.concerns],
    )
    return Response(html, status, mimetype="text/html")


def _answer(day: Day) -> Answer | None:
    """Put the day's advice into words; None before the first check-in."""
    if day.given is None or day.stored is None:
        return None
    return Answer.of(read_localized(day.given), from_json(CheckIn, day.stored.body))


def _forecast(day: Day) -> str:
    """Say in a sentence when the muscle group that takes longest is ready by the athlete's own
    course; empty before the first check-in, and where too little is known. On a day of rest, or
    with a concern, it would reassure."""
    if day.given is None or day.given.verdict == Verdict.REST.value or day.concerns:
        return ""
    ctx, said = context(), texts()
    found = ctx.store.read(
        lambda transaction: ctx.recoveries.forecasts(transaction, day.athlete, ctx.clock(), said)
    )
    return next((one.text for one in found), "")


def _called(name: str) -> str:
    """Return what an athlete is called: the first word of the name, or the whole of one that is
    sorted by family, as a comma tells."""
    return name if "," in name else next(iter(name.split()), "")


def _any_answered(groups: Sequence[str], answers: Answers, faults: Mapping[str, str]) -> bool:
    """Return whether the soreness of any of these muscle groups was answered, or is faulty."""
    controls = [f"soreness/{group}" for group in groups]
    return any(answers.one(control) or control in faults for control in controls)


def _ratings(fact: str, answer: str = "") -> list[str]:
    """List the ratings that a scale offers, from the least to the greatest of a fact; also the
    ``answer`` where it lies between two of them, so that a correction keeps it."""
    definition = FactDictionary.bundled()[fact]
    ratings = [str(one) for one in range(int(definition.least), int(definition.greatest) + 1)]
    if is_between(answer) and answer not in ratings:
        return sorted([*ratings, answer], key=float)
    return ratings


def _in_words(answer: Response) -> Response:
    """Turn an error answer into a page; headers such as Retry-After stay."""
    status = answer.status_code
    name = f"phone.problem.{status if status in _PROBLEMS_IN_WORDS else 'other'}"
    text = render_template("private/problem.html", text=say(name), request_id=g.request_id)
    answer.set_data(text)
    answer.mimetype = "text/html"
    return answer
