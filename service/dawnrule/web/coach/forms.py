"""Forms of the coach's pages: what was filled in, and what is wrong with it, by control.

A control has the name of its place in the JSON that the interface takes, with ``/`` between:
``competitions/0/date``. So a fault that names a place by JSON Pointer stands beside its control.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from dawnrule.errors import DawnruleError, FieldError
from dawnrule.i18n.catalog import capital
from dawnrule.i18n.lazy import render
from dawnrule.model.entities import Athlete
from dawnrule.schemas.fields import EARLIEST, LATEST
from dawnrule.store import Group, Transaction
from dawnrule.web.coach.layout import coach
from dawnrule.web.http.locale import label, say, texts
from dawnrule.web.private.form import Answers

OK, SEE_OTHER, UNPROCESSABLE = 200, 303, 422

_NUMBER = re.compile(r"-?[0-9]{1,6}([.,][0-9]{1,3})?")
_GROUP, _ATHLETE, EVERYBODY = "group:", "athlete:", "all"


@dataclass(frozen=True, slots=True)
class Chosen:
    """For whom a form is: a group, one athlete or everybody. ``value`` names it in an address."""

    value: str
    name: str
    athletes: tuple[Athlete, ...]


def choices(transaction: Transaction, everybody: str) -> list[Chosen]:
    """List for whom a form may be: ``everybody``, as that is called, each group, each athlete."""
    squad = sorted(transaction.athletes.all(), key=by_name)
    groups = [_of_group(group, squad) for group in transaction.groups.all()]
    return [
        Chosen(EVERYBODY, everybody, tuple(squad)),
        *groups,
        *(Chosen(_ATHLETE + one.id, one.name, (one,)) for one in squad),
    ]


def chosen_of(offered: Iterable[Chosen], value: str) -> Chosen:
    """Find what was chosen; everybody where nothing or something unknown was."""
    first, *others = offered
    return next((one for one in others if one.value == value), first)


def by_name(athlete: Athlete) -> tuple[str, str]:
    """The key by which people look for somebody in a list."""
    return athlete.name.casefold(), athlete.id


def _of_group(group: Group, squad: Iterable[Athlete]) -> Chosen:
    members = tuple(athlete for athlete in squad if athlete.id in set(group.athletes))
    return Chosen(_GROUP + group.id, group.name, members)


def faults_of(error: DawnruleError, prefix: str = "") -> dict[str, str]:
    """Say what is wrong by control; what belongs to none stands under the empty name."""
    found: dict[str, str] = {}
    for fault in error.errors or (FieldError("", None, error.detail),):
        name = "/".join(filter(None, (prefix, fault.pointer.removeprefix("/"))))
        found.setdefault(name, _sentence(fault.detail))
    return found


def _sentence(detail: str) -> str:
    said = str(render(detail, texts()))
    return capital(said if said.endswith((".", "?", "!")) else f"{said}.")


def number_or_text(text: str) -> int | float | str:
    """Read a number with a decimal point or comma; other text stays, for the schema to refuse."""
    if not _NUMBER.fullmatch(text):
        return text
    number = float(text.replace(",", "."))
    return int(number) if number.is_integer() else number


def filled(values: Mapping[str, Any]) -> dict[str, Any]:
    """Leave out what was left empty."""
    return {name: value for name, value in values.items() if value not in ("", [], {}, None)}


def numbered(answers: Answers, section: str) -> Iterator[int]:
    """Yield the numbers of the rows of a section of which anything was filled in."""
    inside = re.compile(rf"{section}/([0-9]{{1,3}})/.+")
    rows = {int(found[1]) for name in answers.given if (found := inside.fullmatch(name))}
    for row in sorted(rows):
        if any(answers.one(n) for n in answers.given if n.startswith(f"{section}/{row}/")):
            yield row


def date_or_text(text: str) -> date | str:
    """Read a date of a form; other text stays, and so does a date that nobody means."""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return text
    return day if EARLIEST <= day <= LATEST else text


def pairs(values: Iterable[str], section: str = "") -> list[tuple[str, str]]:
    """Pair words with their labels: those of a section of the catalogue, or of the vocabulary."""
    named = (say(f"{section}.{one}") if section else label(one) for one in values)
    return [(one, capital(name)) for one, name in zip(values, named, strict=True)]


def said_of(section: str, faults: Iterable[str]) -> dict[str, str]:
    """Name the controls that are faulty, by the labels in a section of the catalogue."""
    labels = texts().section(section)
    last = {name: name.rpartition("/")[2] for name in faults}
    return {name: labels[part] for name, part in last.items() if part in labels}


@coach.context_processor
def helpers() -> dict[str, Callable[..., Any]]:
    """Make what the forms of these pages need available in templates."""
    return {"pairs": pairs, "said_of": said_of, "listing": texts().names}
