"""The pages of groups: make one, rename it, fill it, remove it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from itertools import count
from typing import Any

from flask import redirect, render_template, request, url_for

from dawnrule.application.groups import put_group, remove_group, require_group
from dawnrule.errors import Conflict, InvalidInput
from dawnrule.model.entities import Athlete
from dawnrule.schemas.errors import load
from dawnrule.schemas.group import NEW_GROUP
from dawnrule.store import Group, Transaction
from dawnrule.web.coach.forms import SEE_OTHER, UNPROCESSABLE, by_name, faults_of, filled
from dawnrule.web.coach.layout import coach
from dawnrule.web.context import context
from dawnrule.web.http.authorization import caller
from dawnrule.web.private.form import Answers


@coach.get("/groups")
def groups() -> str:
    """Show the groups, and the form to make one."""
    return _groups_page(Answers({}), {})


@coach.post("/groups")
def add_group() -> Any:
    """Make a group; with faults the form is shown again."""
    answers, by, at = Answers.of_form(request.form), caller().id, context().clock()

    def add(transaction: Transaction) -> None:
        _put(transaction, next_group_id(transaction), answers, by, at)

    try:
        context().store.write(add)
    except (InvalidInput, Conflict) as refused:
        return _groups_page(answers, faults_of(refused)), UNPROCESSABLE
    return redirect(url_for("coach.groups"), SEE_OTHER)


@coach.get("/groups/<group_id>")
def group(group_id: str) -> str:
    """Show who is in a group, to be changed."""
    return _group_page(group_id, None, {})


@coach.post("/groups/<group_id>")
def save_group(group_id: str) -> Any:
    """Rename and fill a group; with faults the form is shown again."""
    answers, by, at = Answers.of_form(request.form), caller().id, context().clock()

    def save(transaction: Transaction) -> None:
        require_group(transaction, group_id)
        _put(transaction, group_id, answers, by, at)

    try:
        context().store.write(save)
    except (InvalidInput, Conflict) as refused:
        return _group_page(group_id, answers, faults_of(refused)), UNPROCESSABLE
    return redirect(url_for("coach.groups"), SEE_OTHER)


@coach.post("/groups/<group_id>/remove")
def drop_group(group_id: str) -> Any:
    """Remove a group; its athletes stay."""
    by, at = caller().id, context().clock()
    context().store.write(lambda transaction: remove_group(transaction, group_id, by=by, at=at))
    return redirect(url_for("coach.groups"), SEE_OTHER)


def next_group_id(transaction: Transaction) -> str:
    """Return an id that no group has, such as ``g-02``."""
    taken = {group.id for group in transaction.groups.all()}
    return next(one for n in count(1) if (one := f"g-{n:02}") not in taken)


def _put(transaction: Transaction, group_id: str, answers: Answers, by: str, at: datetime) -> None:
    given = filled({"name": answers.one("name")}) | {"athletes": list(answers.many("athletes"))}
    body = load(NEW_GROUP, given)
    put_group(transaction, Group(group_id, body["name"], body["athletes"]), by=by, at=at)


def _groups_page(answers: Answers, faults: Mapping[str, str]) -> str:
    groups, squad = context().store.read(_groups_and_squad)
    names = {athlete.id: athlete.name for athlete in squad}
    return render_template(
        "coach/groups.html",
        groups=groups,
        members={group.id: _names(group, names) for group in groups},
        options=[(athlete.id, athlete.name) for athlete in squad],
        answers=answers,
        faults=faults,
    )


def _group_page(group_id: str, answers: Answers | None, faults: Mapping[str, str]) -> str:
    def read(transaction: Transaction) -> tuple[Group, list[Athlete]]:
        return require_group(transaction, group_id), _groups_and_squad(transaction)[1]

    group, squad = context().store.read(read)
    as_it_is = Answers({"name": (group.name,), "athletes": group.athletes})
    return render_template(
        "coach/group.html",
        group=group,
        options=[(athlete.id, athlete.name) for athlete in squad],
        answers=as_it_is if answers is None else answers,
        faults=faults,
    )


def _groups_and_squad(transaction: Transaction) -> tuple[list[Group], list[Athlete]]:
    return transaction.groups.all(), sorted(transaction.athletes.all(), key=by_name)


def _names(group: Group, names: Mapping[str, str]) -> list[str]:
    return sorted((names[one] for one in group.athletes), key=str.casefold)
