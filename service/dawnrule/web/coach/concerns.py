"""The page of concerns: what is open about the squad, with forms to open, clear and withdraw."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from flask import redirect, render_template, request, url_for
from werkzeug.datastructures import MultiDict

from dawnrule.advice.concern_text import ConcernText, describe_concern
from dawnrule.application.check_ins import CheckIns
from dawnrule.application.concerns import (
    Acting,
    ConcernChanged,
    advance_concern,
    clear_concern,
    confirm_correction,
    open_concern,
    open_concerns,
    withdraw,
)
from dawnrule.errors import Conflict, DawnruleError, InvalidInput
from dawnrule.model.concerns import ActorRole, Concern, ConcernState
from dawnrule.model.entities import Athlete
from dawnrule.schemas.concern import NEW_CLEARANCE, NEW_CONCERN
from dawnrule.schemas.errors import load
from dawnrule.store import Transaction
from dawnrule.web.coach.layout import coach
from dawnrule.web.context import context
from dawnrule.web.http.authorization import caller
from dawnrule.web.http.locale import composer

_Change = Callable[[Transaction, CheckIns, Acting], ConcernChanged]
_SEE_OTHER = 303
_NUMBERS = ("effort_at_most", "minutes_at_most")
_SWITCHES = ("rests_everything", "no_contact", "no_maximal")
_LISTS = ("muscle_groups_rest",)


@dataclass(frozen=True, slots=True)
class OpenConcern:
    """A concern that has not ended, in words, and whose it is."""

    concern: Concern
    athlete: Athlete
    text: ConcernText

    @property
    def is_returning(self) -> bool:
        """Whether a staged return is under way."""
        return self.concern.state is ConcernState.RETURNING

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
    """Show what is open about the squad, and the form to open a concern."""
    return _page({})


@coach.post("/concerns")
def start_concern() -> Any:
    """Open a concern from the form; with errors the form is shown again."""
    form = request.form

    def change(transaction: Transaction, check_ins: CheckIns, acting: Acting) -> ConcernChanged:
        opening, _ = load(NEW_CONCERN, _new_concern(form))
        return open_concern(transaction, check_ins, form.get("athlete", ""), opening, acting)

    return _changed(change)


@coach.post("/concerns/<concern_id>/clear")
def clear_one(concern_id: str) -> Any:
    """Clear a concern with the restrictions of the form."""
    form = request.form

    def change(transaction: Transaction, check_ins: CheckIns, acting: Acting) -> ConcernChanged:
        body = _given(form, "until") | {"restrictions": _restrictions(form)}
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
    """Confirm that a report was a typing error, or no warning sign."""
    return _changed(
        lambda transaction, check_ins, acting: confirm_correction(
            transaction, check_ins, concern_id, acting
        )
    )


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


def _page(filled: Mapping[str, str], refused: DawnruleError | None = None) -> str:
    now, localized = context().clock(), composer()

    def read(transaction: Transaction) -> tuple[list[Athlete], list[Concern]]:
        return transaction.athletes.all(), open_concerns(transaction, now)

    squad, found = context().store.read(read)
    athletes = {athlete.id: athlete for athlete in squad}
    words = localized.vocabulary
    return render_template(
        "coach/concerns.html",
        concerns=[
            OpenConcern(one, athletes[one.athlete_id], describe_concern(one, localized))
            for one in found
        ],
        athletes=sorted(squad, key=lambda athlete: (athlete.name.casefold(), athlete.id)),
        kinds=words.values_of("concern_kinds"),
        pain_kinds=words.values_of("pain_kinds"),
        reasons=words.values_of("restriction_reasons"),
        muscle_groups=words.muscle_groups,
        filled=filled,
        refused=refused,
    )


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


def _number(text: str) -> float | str:
    """Read a number; what is none is refused by the schema, with its place."""
    try:
        return float(text.replace(",", "."))
    except ValueError:
        return text
