"""The page of concerns: what is open about the squad, with forms to open, clear and withdraw."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from flask import redirect, render_template, request, url_for
from werkzeug.datastructures import MultiDict

from dawnrule.advice.concern_text import ConcernText, describe_concern, describe_events
from dawnrule.application.check_ins import CheckIns
from dawnrule.application.concerns import (
    Acting,
    ConcernChanged,
    advance_concern,
    clear_concern,
    concerns_of,
    confirm_correction,
    open_concern,
    open_concerns,
    require_concern,
    withdraw,
)
from dawnrule.errors import Conflict, DawnruleError, InvalidInput
from dawnrule.i18n.lazy import lazy
from dawnrule.model.concerns import ActorRole, Concern, ConcernState
from dawnrule.model.entities import Athlete
from dawnrule.model.time_zones import zone_or_utc
from dawnrule.rules.returns import Returns
from dawnrule.schemas.concern import NEW_CLEARANCE, NEW_CONCERN
from dawnrule.schemas.errors import load
from dawnrule.store import StoredAdvice, Transaction
from dawnrule.web.coach.layout import coach
from dawnrule.web.context import context
from dawnrule.web.http.authorization import caller
from dawnrule.web.http.locale import composer, of_rule, read_localized, say

_Change = Callable[[Transaction, CheckIns, Acting], ConcernChanged]
_SEE_OTHER = 303
_NUMBERS = ("effort_at_most", "minutes_at_most")
_SWITCHES = ("rests_everything", "no_contact", "no_maximal")
_LISTS = ("muscle_groups_rest", "goals_not", "modalities_not")


@dataclass(frozen=True, slots=True)
class StageText:
    """The stage of a return in words: which of how many, what it is, and when it goes on or
    back."""

    number: int
    of: int
    title: str
    on_when: str
    back_when: str


@dataclass(frozen=True, slots=True)
class ShownConcern:
    """A concern in words, and whose it is; ``today`` is the headline of today's advice, empty where
    there is none, and ``events`` its history with when it was recorded, where the athlete lives."""

    concern: Concern
    athlete: Athlete
    text: ConcernText
    today: str
    stage: StageText | None
    events: Sequence[tuple[datetime, str]]

    @property
    def is_returning(self) -> bool:
        """Whether a staged return is under way."""
        return self.concern.state is ConcernState.RETURNING

    @property
    def check_in_still_says_so(self) -> bool:
        """Whether a check-in of the day of the clearance reported it, which holds all that day."""
        given, on = self.concern.clearance, self.athlete.today_or_utc(context().clock())
        return given is not None and given.given_on == on == self.concern.last_reported_on

    @property
    def can_be_confirmed(self) -> bool:
        """Whether a coach may confirm a typing error, or that a suspicion was none."""
        return self.concern.correction_on is not None or self.concern.suspected


def concern_texts(concerns: Iterable[Concern]) -> dict[str, list[str]]:
    """Put concerns into words, by athlete, for the pages that show them beside advice."""
    localized = composer()
    found: dict[str, list[str]] = {}
    for concern in concerns:
        found.setdefault(concern.athlete_id, []).append(str(describe_concern(concern, localized)))
    return found


def read_concern_texts() -> dict[str, list[str]]:
    """Read what is open about the squad now, in words, by athlete."""
    now = context().clock()
    return concern_texts(context().store.read(lambda b: open_concerns(b, now)))


@coach.get("/concerns")
def concerns() -> str:
    """Show what is open about the squad, or all that ever was about one athlete, with the forms to
    restrict and to report."""
    return _page({}, athlete_id=request.args.get("athlete") or None)


@coach.post("/concerns")
def start_concern() -> Any:
    """Open a concern from the form; with errors the form is shown again."""
    form = request.form
    if not form.get("athlete"):
        nobody = InvalidInput(say("coach_concerns.whom"))
        return _page(form, nobody), nobody.status

    def change(transaction: Transaction, check_ins: CheckIns, acting: Acting) -> ConcernChanged:
        opening, _ = load(NEW_CONCERN, _new_concern(form))
        return open_concern(transaction, check_ins, form.get("athlete", ""), opening, acting)

    return _changed(change)


@coach.post("/concerns/<concern_id>/clear")
def clear_one(concern_id: str) -> Any:
    """Clear a concern with the restrictions of the form. Who says so has a name, and a warning
    sign is cleared only with a tick that a clinician has done so or that the coach takes it on."""
    form = request.form

    def change(transaction: Transaction, check_ins: CheckIns, acting: Acting) -> ConcernChanged:
        _require(form, "name")
        if require_concern(transaction, concern_id).kind.is_warning_sign:
            _require(form, "taken_on")
        body: dict[str, Any] = _given(form, "until") | {"restrictions": _restrictions(form)}
        if form.get("severity_at_most"):
            body["severity_at_most"] = _number(form["severity_at_most"])
        terms, _ = load(NEW_CLEARANCE, body)
        return clear_concern(transaction, check_ins, concern_id, terms, acting)

    return _changed(change)


@coach.post("/concerns/<concern_id>/withdraw")
def withdraw_one(concern_id: str) -> Any:
    """Withdraw the clearance that is in force."""
    clearance_id = request.form.get("clearance", "")
    return _changed(
        lambda transaction, check_ins, acting: withdraw(
            transaction, check_ins, concern_id, clearance_id, acting
        )
    )


@coach.post("/concerns/<concern_id>/confirm")
def confirm_one(concern_id: str) -> Any:
    """Confirm that a report was a typing error, or no warning sign; who says so and what it was
    stand together in the history."""
    form = request.form

    def change(transaction: Transaction, check_ins: CheckIns, acting: Acting) -> ConcernChanged:
        require_concern(transaction, concern_id)
        name, was = _require(form, "name"), _require(form, "was")
        told = replace(acting, name=f"{name}: {was}")
        return confirm_correction(transaction, check_ins, concern_id, told)

    return _changed(change)


@coach.post("/concerns/<concern_id>/advance")
def advance_one(concern_id: str) -> Any:
    """Pass to the next stage of a return, or one back."""
    back = request.form.get("back") == "yes"
    return _changed(
        lambda transaction, check_ins, acting: advance_concern(
            transaction, check_ins, concern_id, acting, back=back
        )
    )


def _changed(change: _Change) -> Any:
    """Change a concern as the coach who is signed in, and show the page again."""
    check_ins = context().check_ins
    name = request.form.get("name", "").strip() or None
    acting = Acting(ActorRole.COACH, check_ins.submission(caller().id), name)
    try:
        context().store.write(lambda transaction: change(transaction, check_ins, acting))
    except (Conflict, InvalidInput) as refused:
        return _page(request.form, refused), refused.status
    return redirect(url_for("coach.concerns"), _SEE_OTHER)


def _page(
    filled: Mapping[str, str],
    refused: DawnruleError | None = None,
    athlete_id: str | None = None,
) -> str:
    now, words = context().clock(), composer().vocabulary

    def read(
        transaction: Transaction,
    ) -> tuple[list[Athlete], list[Concern], dict[str, StoredAdvice]]:
        squad = transaction.athletes.all()
        if athlete_id is None:
            found = open_concerns(transaction, now)
        else:
            found = concerns_of(transaction, athlete_id, now)
        about = {one.athlete_id for one in found}
        latest = (
            transaction.advice.latest(one.id, one.today_or_utc(now))
            for one in squad
            if one.id in about
        )
        return squad, found, {one.athlete_id: one for one in latest if one is not None}

    squad, found, given = context().store.read(read)
    athletes = {athlete.id: athlete for athlete in squad}
    return render_template(
        "coach/concerns.html",
        concerns=[
            _shown(one, athletes[one.athlete_id], given.get(one.athlete_id)) for one in found
        ],
        of=athletes[athlete_id] if athlete_id is not None else None,
        athletes=sorted(squad, key=lambda athlete: (athlete.name.casefold(), athlete.id)),
        kinds=words.values_of("concern_kinds"),
        pain_kinds=words.values_of("pain_kinds"),
        reasons=words.values_of("restriction_reasons"),
        muscle_groups=words.muscle_groups,
        goals=words.goals,
        modalities=words.modalities,
        filled=filled,
        refused=refused,
    )


def _shown(concern: Concern, athlete: Athlete, given: StoredAdvice | None) -> ShownConcern:
    """Put a concern into words, with its history where the athlete lives."""
    localized, zone = composer(), zone_or_utc(athlete.time_zone)
    return ShownConcern(
        concern,
        athlete,
        describe_concern(concern, localized),
        read_localized(given).headline if given and not concern.is_closed else "",
        _stage_of(concern),
        [(one.at.astimezone(zone), one.what) for one in describe_events(concern, localized)],
    )


def _stage_of(concern: Concern) -> StageText | None:
    """Find the stage of a return that is under way, as the returns that ship describe it; None for
    one that they have no more."""
    if concern.state is not ConcernState.RETURNING or concern.stage is None:
        return None
    found = Returns.bundled().returns.get(str(concern.staged_return).partition("@")[0])
    if found is None or found.full_name != concern.staged_return:
        return None
    stage = found.stage_at(concern.stage)
    words = map(of_rule, (stage.title, stage.on_when, stage.back_when))
    return StageText(concern.stage, len(found.stages), *words)


def _new_concern(form: MultiDict[str, str]) -> dict[str, Any]:
    """Make of the form what the interface takes."""
    body: dict[str, Any] = _given(form, "kind")
    match body.get("kind"):
        case "pain":
            groups = form.getlist("muscle_groups_rest")
            body["pain"] = {"kind": form.get("pain", "other")} | _given(form, "where")
            body["pain"] |= {"muscle_groups": groups} if groups else {}
        case "illness":
            body["illness"] = form.get("illness", "fever")
        case "restriction":
            body["restriction"] = {
                "reason": form.get("reason", "other"),
                "restrictions": _restrictions(form),
            } | _given(form, "until")
    return body


def _restrictions(form: MultiDict[str, str]) -> dict[str, Any]:
    found: dict[str, Any] = {name: True for name in _SWITCHES if form.get(name)}
    found |= {name: form.getlist(name) for name in _LISTS if form.getlist(name)}
    return found | {name: _number(form[name]) for name in _NUMBERS if form.get(name)}


def _given(form: Mapping[str, str], *names: str) -> dict[str, str]:
    return {name: form[name] for name in names if form.get(name)}


def _require(form: Mapping[str, str], name: str) -> str:
    """Read a field that has to be filled in. Raises ``InvalidInput`` where it is not."""
    value = form.get(name, "").strip()
    if not value:
        raise InvalidInput(lazy(f"coach_concerns.needs_{name}"))
    return value


def _number(text: str) -> float | str:
    """Read a number; what is none is refused by the schema, with its place."""
    try:
        return float(text.replace(",", "."))
    except ValueError:
        return text
