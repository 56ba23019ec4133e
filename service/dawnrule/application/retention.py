"""Retention: delete data older than a number of days, each night.

Dates are those of the clock, and a clock that is years ahead would make everything look old. So
one night deletes at most ``DAYS_IN_ONE_NIGHT`` days of dates; where more is due, nothing is
deleted until somebody confirms that the clock is right.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from dawnrule.application.athletes import delete_side_files
from dawnrule.background import repeated
from dawnrule.errors import Conflict, DawnruleError, InvalidInput
from dawnrule.facts.history import SESSION_DAYS
from dawnrule.store import Store, Transaction
from dawnrule.store.activity_log import RETENTION_APPLIED, SERVICE, record_act
from dawnrule.store.values import format_ranges

_log = logging.getLogger("dawnrule.retention")

ONE_DAY = timedelta(days=1)
KEEP = 0
"""As days: everything is kept."""

DAYS_IN_ONE_NIGHT = 31
"""The most days of dates that one night deletes unasked: house judgement, no source."""

_CONFIRMED = "dawnrule retention apply --clock-is-right"


@dataclass(frozen=True, slots=True)
class RetentionResult:
    """Deleted rows of dates before one, by table. ``is_wiped`` as for ``Erased``."""

    before: date
    removed: dict[str, int]
    is_wiped: bool


def apply_retention(
    store: Store, days: int, *, by: str, at: datetime, clock_is_right: bool = False
) -> RetentionResult:
    """Delete check-ins, advice, sessions and plans of dates more than ``days`` days ago (UTC).

    They are deleted as by an erasure: ledger entries stay, and an act names them. Concerns go that
    ended so long ago; one that has not ended stays. Where nothing is so old,
    nothing is written. Raises ``InvalidInput`` for fewer days than facts look back, and, unless
    ``clock_is_right``, ``Conflict`` when more than ``DAYS_IN_ONE_NIGHT`` days would go.
    """
    check_days(days)
    before = at.astimezone(UTC).date() - timedelta(days)
    oldest = store.read(lambda transaction: transaction.retention.oldest_date())
    if oldest is None or oldest >= before:
        return RetentionResult(before, {}, True)
    if not clock_is_right and (before - oldest).days > DAYS_IN_ONE_NIGHT:
        raise Conflict(
            f"Nothing was removed: the clock says {at.astimezone(UTC).date()}, so all from "
            f"{oldest} to {before} would go at once, more than {DAYS_IN_ONE_NIGHT} days, as if the "
            f"clock were ahead. If it is right: {_CONFIRMED}"
        )

    def delete(transaction: Transaction) -> dict[str, int]:
        oldest = transaction.retention.oldest_date()
        if oldest is None or oldest >= before:  # another process was quicker
            return {}
        positions = transaction.ledger.positions_before(before.isoformat())
        positions += transaction.concerns.positions_ended_before(before)
        about = {"before": before.isoformat(), "positions": format_ranges(sorted(positions))}
        removed = transaction.retention.delete_before(before, at)
        record_act(transaction, RETENTION_APPLIED, by=by, at=at, about=about)
        return removed

    delete_side_files(store)
    removed = store.write(delete)
    delete_side_files(store)
    return RetentionResult(before, removed, store.wipe())


def check_days(days: int) -> None:
    """Raise ``InvalidInput`` for fewer days than facts look back: advice would silently get
    worse."""
    if days < SESSION_DAYS:
        raise InvalidInput(
            f"Retention must be at least {SESSION_DAYS} days, not {days}: advice looks back that "
            "far."
        )


def retention_kept(
    store: Store, days: int, clock: Callable[[], datetime]
) -> AbstractContextManager[None]:
    """Apply retention now and at each midnight (UTC), in a thread, until the block ends; 0 days
    keep everything. Raises ``InvalidInput`` as ``check_days``."""
    if days == KEEP:
        return nullcontext()
    check_days(days)
    return repeated(
        lambda: _seconds_to_midnight(clock()),
        lambda: _apply_and_log(store, days, clock()),
        "dawnrule-retention",
    )


def _apply_and_log(store: Store, days: int, at: datetime) -> None:
    """Apply retention; failures and doubts are logged and retried the next night, and leftover
    bytes go with the next deletion."""
    try:
        if not apply_retention(store, days, by=SERVICE, at=at).is_wiped:
            _log.warning("what retention removed may have left traces in the files")
    except Conflict as refused:
        _log.warning("retention was not applied: %s", refused.detail)
    except DawnruleError as error:
        _log.error("retention could not be applied: %s", error.detail)


def _seconds_to_midnight(now: datetime) -> float:
    today = now.astimezone(UTC).date()
    midnight = datetime.combine(today + ONE_DAY, time.min, UTC)
    return (midnight - now).total_seconds()
