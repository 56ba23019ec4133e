"""The page on who drifts from the own usual."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Self

from flask import render_template, request

from dawnrule.application.drifts import AthleteDrift, read_drifts
from dawnrule.facts.drift import DriftRules, Measure, Standing
from dawnrule.model.entities import Athlete
from dawnrule.store import Group, Transaction
from dawnrule.web.coach.layout import coach
from dawnrule.web.context import context
from dawnrule.web.http.locale import label, texts

_DECIMALS = {"sleep_hours": 1, "jump_height_cm": 1, "fatigue": 1, "soreness": 1}


@dataclass(frozen=True, slots=True)
class Cell:
    """How one measure of one athlete stands, in words; ``recent`` and ``usual`` are empty where too
    few mornings are known. ``far`` and ``since`` are of a drift."""

    mornings: int
    usual_mornings: int
    recent: str = ""
    usual: str = ""
    about: str = ""
    far: str = ""
    days: int = 0
    since: date | None = None

    @classmethod
    def of(cls, one: Standing) -> Self:
        """Put a measure into words."""
        known = one.mornings, one.usual_mornings
        if one.recent is None or one.usual is None or one.sds is None:
            return cls(*known)
        about = label(one.muscle_group) if one.muscle_group else ""
        recent, usual = (_number(one.measure, value) for value in (one.recent, one.usual))
        far = texts().number(f"{one.sds:.1f}") if one.drifts else ""
        return cls(*known, recent, usual, about, far, one.days or 0, one.since)


@dataclass(frozen=True, slots=True)
class Row:
    """An athlete with a cell for each measure."""

    athlete: Athlete
    on: date
    cells: Sequence[Cell]


@coach.get("/drifts")
def drifts() -> str:
    """Show each athlete's measures beside the own usual, the farthest drift first."""
    now, group_id = context().clock(), request.args.get("group", "")

    def read(transaction: Transaction) -> tuple[list[Group], list[AthleteDrift]]:
        return transaction.groups.all(), read_drifts(transaction, now, group_id or None)

    def slower(transaction: Transaction) -> dict[str, float]:
        members = context().recoveries.squad(transaction, "growth", now)
        told = {one.athlete_id: one.against_squad for one in members if one.is_slower}
        return {key: against.factor for key, against in told.items() if against is not None}

    groups, found = context().store.read(read)
    takes_longer = context().store.read(slower)
    rules = DriftRules.bundled()
    rows = [(one.drifts, Row(one.athlete, one.on, [*map(Cell.of, one.standings)])) for one in found]
    return render_template(
        "coach/drifts.html",
        groups=groups,
        group_id=group_id,
        drifting=[row for drifts, row in rows if drifts],
        steady=[row for drifts, row in rows if not drifts],
        takes_longer=[
            (one.athlete, texts().number(f"{takes_longer[one.athlete.id]:.1f}"))
            for one in found
            if one.athlete.id in takes_longer
        ],
        rules=rules,
        beyond=lambda measure: texts().number(f"{measure.beyond_sd:g}"),
    )


def _number(measure: Measure, value: float) -> str:
    return texts().number(f"{value:.{_DECIMALS.get(measure.name, 0)}f}")
