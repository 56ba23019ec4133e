"""The explanation of one advice, and the same morning under other rules."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Any

from flask import redirect, render_template, request, url_for

from dawnrule.advice.comparison import SubjectComparison, compare_with
from dawnrule.application.athletes import require_athlete
from dawnrule.application.heads import head_text
from dawnrule.application.read_advice import read_advice
from dawnrule.errors import DawnruleError, NotFound
from dawnrule.model.entities import Athlete
from dawnrule.model.record import Record
from dawnrule.rules.rule_set import RuleSet
from dawnrule.schemas.query import day_of_address
from dawnrule.store import Entry, Head, StoredAdvice, Transaction
from dawnrule.web.coach.concerns import concern_texts
from dawnrule.web.coach.layout import coach
from dawnrule.web.coach.why_view import about_record, block_view, name_of, prose_of, why
from dawnrule.web.context import context
from dawnrule.web.http.locale import composer, decided_by_block


@dataclass(frozen=True, slots=True)
class _Found:
    """An advice, its athlete, the advice that holds for that morning now, and its entry in the
    ledger, with the newest entry there."""

    stored: StoredAdvice
    athlete: Athlete
    holding: StoredAdvice
    entry: Entry | None
    head: Head


@dataclass(frozen=True, slots=True)
class _Comparison:
    """A morning under another rule set, with the names of the day and its parts; or the error that
    prevented it."""

    name: str
    subjects: tuple[tuple[str, SubjectComparison], ...] = ()
    error: DawnruleError | None = None


@coach.get("/advice/<advice_id>")
def why_advice(advice_id: str) -> str:
    """Show one advice, from the verdict to the rule that fired, with all inputs.

    ``under`` in the address names a rule set, under which the same morning is decided again.
    """
    ctx, localized = context(), composer()
    found = ctx.store.read(lambda transaction: _found(transaction, advice_id))
    advice = read_advice(found.stored, ctx.advisor.library, localized)
    record = replace(found.stored.read_record(), advice=advice)
    rule_set = _rule_set_of(found.stored)
    by_block = decided_by_block(advice)
    view = why(record, rule_set, localized, by_block=by_block)
    under = request.args.get("under", "").strip()
    return render_template(
        "coach/why.html",
        record=record,
        athlete=found.athlete,
        concerns=_concern_lines(record),
        blocks=[block_view(one, localized) for one in advice.blocks] if by_block else [],
        why=view,
        about=about_record(record, view, localized),
        rule_set=rule_set,
        entry=found.entry,
        head=head_text(found.head),
        superseded_by=found.holding.id if found.holding.id != advice_id else None,
        rule_sets=ctx.rule_set_names(),
        under=_compare(record, rule_set, under) if under else None,
        prose=prose_of(localized),
        of_rule=localized.texts.of_rule,
    )


def _concern_lines(record: Record) -> list[str]:
    """Put the concerns that a morning knew of into words, as they stand now."""
    athlete_id, ids = record.check_in.athlete_id, {concern.id for concern in record.concerns}
    if not ids:
        return []
    stored = context().store.read(lambda transaction: transaction.concerns.of_athlete(athlete_id))
    known = [concern for concern in stored if concern.id in ids]
    return concern_texts(known).get(athlete_id, [])


@coach.get("/why/<athlete_id>/<day>")
def why_morning(athlete_id: str, day: str) -> Any:
    """Redirect to the advice that holds for an athlete and a date. Raises ``NotFound``."""
    on = day_of_address(day)
    stored = context().store.read(lambda transaction: transaction.advice.latest(athlete_id, on))
    if stored is None:
        raise NotFound(f"There is no advice for {athlete_id!r} on {day}.")
    under = request.args.get("under")
    return redirect(url_for("coach.why_advice", advice_id=stored.id, under=under))


def _found(transaction: Transaction, advice_id: str) -> _Found:
    """Find an advice with its context. Raises ``NotFound``."""
    stored = transaction.advice.get(advice_id)
    if stored is None:
        raise NotFound(f"There is no advice {advice_id!r}.")
    holding = transaction.advice.latest(stored.athlete_id, stored.date)
    athlete = require_athlete(transaction, stored.athlete_id)
    entry = transaction.ledger.entry_of(advice_id)
    head = transaction.ledger.head()
    return _Found(stored, athlete, holding or stored, entry[0] if entry else None, head)


def _rule_set_of(stored: StoredAdvice) -> RuleSet | None:
    """Find the rule set of an advice; None if it is gone, as a record outlives it."""
    try:
        return context().advisor.library.by_digest(stored.rule_set_digest)
    except NotFound:
        return None


def _compare(record: Record, own: RuleSet | None, name: str) -> _Comparison:
    """Decide the morning of a record under a named rule set. An error is shown on the page, next to
    the rest."""
    ctx = context()
    try:
        other = ctx.rule_set_named(name)
        decider = ctx.advisor.library.decider(other)
        comparisons = compare_with(record, own, other, decider, composer().wording)
    except DawnruleError as error:
        return _Comparison(name, error=error)
    return _Comparison(name, tuple(_named(comparisons, record)))


def _named(
    comparisons: Iterable[SubjectComparison], record: Record
) -> Iterator[tuple[str, SubjectComparison]]:
    """Name the day and the parts; parts of a block of which the same was said and would be said now
    share a line."""

    def without_muscle_group(one: SubjectComparison) -> SubjectComparison:
        return replace(one, muscle_group=None)

    for compared, alike in groupby(comparisons, key=without_muscle_group):
        groups = [one.muscle_group for one in alike if one.muscle_group]
        yield name_of(compared.block, groups, record.check_in, composer()), compared
