"""How long is what people reported kept, and how does it leave when its time is over?

What leaves does not come back, and when it leaves is told by the clock. A clock that is years ahead
would have everything leave at once; so it is doubted when it leaves a hole behind: when nothing
that stays is of the first half of the days that are kept. Records that came in by the wrong clock
do not fill the hole, for they are of its own dates. A squad that records goes on filling it; one
that paused for longer has what was there before the pause leave later, or when somebody says so.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from threading import Event, Thread
from typing import Any

from dawnrule.application.athletes import forget_beside
from dawnrule.errors import Conflict, DawnruleError, InvalidInput
from dawnrule.facts.history import SESSION_DAYS
from dawnrule.store import Store, Transaction
from dawnrule.store.activity_log import RETENTION_APPLIED, SERVICE, format_ranges, record_act

_log = logging.getLogger("dawnrule.retention")

ONE_DAY = timedelta(days=1)
KEEP = 0
"""As days: everything is kept."""

_HALVES = 2
_INSISTING = "dawnrule retention apply --clock-is-right"


@dataclass(frozen=True, slots=True)
class RetentionResult:
    """What of dates before one left: how many rows, by table. ``is_wiped`` as for ``Erased``."""

    before: date
    removed: dict[str, int]
    is_wiped: bool

    def to_json(self) -> dict[str, Any]:
        """The same as plain JSON values."""
        return self.removed | {"before": self.before.isoformat(), "wiped": self.is_wiped}


def apply_retention(
    store: Store, days: int, *, by: str, at: datetime, clock_is_right: bool = False
) -> RetentionResult:
    """Remove check-ins, advice, sessions and plans of dates more than ``days`` days ago (UTC).

    They leave as by erasure: the entries stay, and an act names them. Where there is nothing so
    old, nothing is written. Raises ``InvalidInput`` for fewer days than facts look back, and
    ``Conflict`` for a time ``at`` that is to be doubted, unless ``clock_is_right``.
    """
    check_days(days)
    today = at.astimezone(UTC).date()
    before = today - timedelta(days)
    if not store.read(lambda transaction: transaction.retention.has_any_before(before)):
        return RetentionResult(before, {}, True)
    if not clock_is_right:
        _refuse_doubtful_clock(store, before, today)

    def forget(transaction: Transaction) -> dict[str, int]:
        if not transaction.retention.has_any_before(before):  # another process was quicker
            return {}
        about = {
            "before": before.isoformat(),
            "positions": format_ranges(transaction.ledger.positions_before(before.isoformat())),
        }
        removed = transaction.retention.forget_before(before, at)
        record_act(transaction, RETENTION_APPLIED, by=by, at=at, about=about)
        return removed

    forget_beside(store)
    removed = store.write(forget)
    forget_beside(store)
    return RetentionResult(before, removed, store.wipe())


def _refuse_doubtful_clock(store: Store, before: date, today: date) -> None:
    half = (today - before) // _HALVES
    oldest = store.read(lambda transaction: transaction.retention.oldest_report_from(before))
    if oldest is None or oldest - before > half:
        raise Conflict(
            f"Nothing was removed: the clock says {today}, and nothing is stored of the "
            f"{half.days} days from {before} on, as if it were ahead. If it is right: {_INSISTING}"
        )


def check_days(days: int) -> None:
    """Raises ``InvalidInput`` for fewer days than facts look back: advice would get worse without
    anybody seeing why."""
    if days < SESSION_DAYS:
        raise InvalidInput(
            f"Retention must be at least {SESSION_DAYS} days, not {days}: advice looks back that "
            "far."
        )


@contextmanager
def retention_kept(store: Store, days: int, clock: Callable[[], datetime]) -> Iterator[None]:
    """Apply retention now and each midnight (UTC), in a thread, until the block ends; 0 days keep
    everything. Raises ``InvalidInput`` as ``check_days``."""
    if days == KEEP:
        yield
        return
    check_days(days)
    ended = Event()
    thread = Thread(target=_keep, args=(store, days, clock, ended), name="dawnrule-retention")
    thread.start()
    try:
        yield
    finally:
        ended.set()
        thread.join()


def _keep(store: Store, days: int, clock: Callable[[], datetime], ended: Event) -> None:
    """What fails or is doubted is logged, and tried again the next night; traces go with what
    leaves next."""
    is_over = False
    while not is_over:
        try:
            if not apply_retention(store, days, by=SERVICE, at=clock()).is_wiped:
                _log.warning("what retention removed may have left traces in the files")
        except Conflict as doubt:
            _log.warning("retention was not applied: %s", doubt.detail)
        except DawnruleError as error:
            _log.error("retention could not be applied: %s", error.detail)
        is_over = ended.wait(_seconds_to_midnight(clock()))


def _seconds_to_midnight(now: datetime) -> float:
    today = now.astimezone(UTC).date()
    midnight = datetime.combine(today + ONE_DAY, time.min, UTC)
    return (midnight - now).total_seconds()
