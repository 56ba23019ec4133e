"""Who should do what this morning? The squad by verdict, on a page and as a sheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Self

from flask import Response, render_template, request

from dawnrule.advice.squad_morning import (
    PLACES,
    Sought,
    ToldMorning,
    by_place,
    squad_mornings,
)
from dawnrule.advice.told import without_check_in
from dawnrule.errors import InvalidInput
from dawnrule.schemas.query import day_of_address
from dawnrule.web.answers import csv_answer
from dawnrule.web.coach.frame import coach
from dawnrule.web.coach.told import last_check_in, parts_of, told_morning
from dawnrule.web.language import composer, say, texts
from dawnrule.web.service import service
from dawnrule.web.sheets import advice_sheet

_OK, _UNPROCESSABLE = 200, 422
_FIELDS = ("place", "muscle_group", "goal", "rule", "name")
_OF_THE_ADDRESS = ("lang", "date", *_FIELDS)


@dataclass(frozen=True, slots=True)
class Asked:
    """What the address asks for. ``on`` is None for each athlete's own today; ``faults`` says, by
    field, what is wrong with those that were left out of account."""

    on: date | None
    sought: Sought
    faults: Mapping[str, str]

    @property
    def is_narrowed(self) -> bool:
        """Whether not just everybody's today is asked for."""
        return bool(self.faults) or self.on is not None or self.sought != Sought()

    @classmethod
    def of(cls, given: Mapping[str, str]) -> Self:
        """Read the address."""
        words = service().advisor.composer.vocabulary
        known = {"place": PLACES, "muscle_group": words.muscle_groups, "goal": words.goals}
        sought = {name: given.get(name, "") for name in _FIELDS}
        faults = {
            name: say("coach_morning.unknown_word", word=sought[name])
            for name, allowed in known.items()
            if sought[name] and sought[name] not in allowed
        }
        on, wrong_date = _date_of(given.get("date", ""))
        right = {name: value for name, value in sought.items() if name not in faults}
        return cls(on, Sought(**right), faults | wrong_date)


@coach.get("/")
def morning() -> tuple[str, int]:
    """The squad by verdict, on a date or on each athlete's own today."""
    asked = Asked.of(request.args)
    squad = _squad(asked.on)
    shown = [told for told in squad if asked.sought.admits(told)]
    page = render_template(
        "coach/morning.html",
        asked=asked,
        choices=_choices(squad),
        as_asked={n: request.args[n] for n in _OF_THE_ADDRESS if n in request.args},
        squad=squad,
        shown=shown,
        by_place=by_place(shown),
        dates=sorted({told.morning.on.isoformat() for told in squad}),
        parts_of=parts_of,
        last_check_in=last_check_in,
        listing=texts().listing,
    )
    return page, _UNPROCESSABLE if asked.faults else _OK


@coach.get("/squad.csv")
def morning_sheet() -> Response:
    """The same as a sheet. Raises ``InvalidInput`` for what the page would find fault with."""
    asked = Asked.of(request.args)
    if asked.faults:
        raise InvalidInput(" ".join(asked.faults.values()))
    found = [
        told.advice or without_check_in(told.morning.athlete.id, told.morning.on, composer())
        for told in sorted(_squad(asked.on), key=lambda told: told.order)
        if asked.sought.admits(told)
    ]
    return csv_answer(advice_sheet(found), f"squad-{asked.on or 'today'}.csv")


def _choices(squad: Sequence[ToldMorning]) -> dict[str, list[tuple[str, str]]]:
    """What can be chosen in each field, with its word; of the rules, those that decided."""
    words = composer().vocabulary
    rules = {rule: title for told in squad for rule, title in told.rules.items()}
    return {
        "place": [(place, say(f"coach_morning.place_{place}")) for place in PLACES],
        "muscle_group": [(group, words.label(group)) for group in words.muscle_groups],
        "goal": [(goal, words.label(goal)) for goal in words.goals],
        "rule": sorted(rules.items(), key=lambda rule: rule[1]),
    }


def _squad(on: date | None) -> list[ToldMorning]:
    now = service().clock()
    return [told_morning(one) for one in service().store.read(lambda b: squad_mornings(b, now, on))]


def _date_of(text: str) -> tuple[date | None, dict[str, str]]:
    if not text:
        return None, {}
    try:
        return day_of_address(text), {}
    except InvalidInput:
        return None, {"date": say("coach_morning.wrong_date", date=text)}
