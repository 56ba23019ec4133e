"""The squad's morning, a line for each athlete."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Self

from flask import Response

from dawnrule.advice.squad_lines import what_else
from dawnrule.advice.summary import without_check_in
from dawnrule.analytics.squad import (
    AthleteMorning,
    MorningSummary,
    squad_mornings,
    squad_to_read_out,
)
from dawnrule.application.groups import require_group
from dawnrule.model import Verdict
from dawnrule.schemas.morning import MorningQuery, MorningQuerySchema, MorningSchema
from dawnrule.store import Transaction
from dawnrule.web.context import context
from dawnrule.web.http.locale import composer, language_header, read_localized, with_language
from dawnrule.web.http.requests import Blueprint
from dawnrule.web.http.responses import JSON, TEXT, preferred_media_type, text_answer

mornings = Blueprint(
    "mornings", __name__, url_prefix="/v1", description="The squad's morning at a glance."
)


@dataclass(frozen=True, slots=True)
class MorningLine:
    """One athlete's morning as it is answered."""

    athlete_id: str
    name: str
    on: date
    place: str
    verdict: Verdict | None
    headline: str
    also: str
    advice_id: str | None
    given_at: datetime | None
    last_check_in: date | None
    is_new: bool
    verdict_before: Verdict | None
    concern_ids: Sequence[str]
    group_ids: Sequence[str]

    @classmethod
    def of(cls, summary: MorningSummary) -> Self:
        """Put a morning into a line."""
        one, words = summary.morning, composer()
        advice = summary.advice or without_check_in(one.athlete.id, one.on, words)
        return cls(
            one.athlete.id,
            one.athlete.name,
            one.on,
            one.place,
            advice.verdict,
            advice.headline,
            what_else(summary.advice, words) if summary.advice else "",
            advice.advice_id,
            one.stored.decided_at if one.stored else None,
            one.last_check_in,
            one.is_new,
            Verdict(one.verdict_before) if one.verdict_before else None,
            [concern.id for concern in one.concerns],
            sorted(one.groups),
        )


@dataclass(frozen=True, slots=True)
class Morning:
    """The squad's morning as it is answered."""

    athletes: Sequence[MorningLine]
    read_out: str


@mornings.route("/morning")
@mornings.arguments(MorningQuerySchema, location="query")
@mornings.response(200, MorningSchema)
@mornings.alt_response(200, schema={"type": "string"}, content_type=TEXT)
@mornings.alt_response(404, "NOT_FOUND")
def get_morning(query: MorningQuery) -> Response | tuple[Morning, dict[str, str]]:
    """A line for each athlete, the most urgent first: open warning signs, rest, swap, no check-in,
    and who trains as planned.

    As plain text it is what each one does, for the whole squad to hear: it never says why. With
    `since` it says what is new; whoever asks keeps the time of the last look.
    """
    now = context().clock()

    def find(transaction: Transaction) -> list[AthleteMorning]:
        if query.group is not None:
            require_group(transaction, query.group)
        return squad_mornings(transaction, now, query.date, query.since)

    squad = [
        MorningSummary(one, read_localized(one.stored) if one.stored else None)
        for one in context().store.read(find)
        if query.group is None or query.group in one.groups
    ]
    said = squad_to_read_out(squad, composer())
    if preferred_media_type((JSON, TEXT), query.format) == TEXT:
        return with_language(text_answer(said))
    in_order = sorted(squad, key=lambda summary: summary.order)
    return Morning([*map(MorningLine.of, in_order)], said), language_header()
