"""Breaks from training, of the athlete and of one muscle group (pure)."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

from dawnrule.facts.history import Past, Unavailable
from dawnrule.facts.last_trained import LastTrainedTimes
from dawnrule.model.time_zones import zone_named

DAYS_A_WEEK = 7


@dataclass(frozen=True, slots=True)
class Break:
    """A break from training: the last local date before it and the first after it, which is today
    where training begins again today."""

    last_trained_on: date
    ended_on: date

    @property
    def days(self) -> int:
        """The number of days from the last training before it to the first after it: who trained
        on a Saturday and again two Saturdays later was away for two weeks."""
        return (self.ended_on - self.last_trained_on).days

    def week_since_end(self, day: date) -> int:
        """Return the week since its end that a date lies in, from 1 on."""
        return (day - self.ended_on).days // DAYS_A_WEEK + 1

    def days_left_of_week(self, day: date) -> int:
        """Return how many days are left before the next week begins."""
        return DAYS_A_WEEK - (day - self.ended_on).days % DAYS_A_WEEK


_NEVER_TRAINED = Unavailable("needs a training before today, has none")


def break_of_athlete(past: Past) -> Break | Unavailable | None:
    """Return the break of the athlete, or why it is not known.

    It ends today or ended within the last four weeks; None where there is none.
    """
    return _break_in(past, _dates_of_all(past), past.parameters("break_days")["days"])


def break_of_group(
    past: Past, trained: LastTrainedTimes, group: str, whole: Break | Unavailable | None
) -> Break | Unavailable | None:
    """Return the break that counts for a muscle group: its own or ``whole``, that of the athlete;
    the longer one.

    A muscle group that is trained once a week has missed one session after two weeks, which is no
    break of its own.
    """
    if isinstance(whole, Unavailable):
        return whole
    trained_on = _dates_of_group(past, trained, group)
    if not trained_on:
        return whole
    own = _break_in(past, trained_on, past.parameters("break_days")["group_days"])
    found = [pause for pause in (own, whole) if isinstance(pause, Break)]
    return max(found, key=lambda pause: pause.days, default=None)


def _break_in(past: Past, trained_on: Iterable[date], least: int) -> Break | Unavailable | None:
    today = past.check_in.date
    newest_first = sorted({day for day in trained_on if day < today}, reverse=True)
    if not newest_first:
        return _NEVER_TRAINED
    weeks = past.parameters("break_days")["weeks"]
    still_count, shortest = today - timedelta(weeks=weeks), timedelta(days=least)
    for later, earlier in pairwise((today, *newest_first)):
        if later <= still_count:
            return None
        if later - earlier >= shortest:
            return Break(earlier, later)
    return None


def _dates_of_all(past: Past) -> set[date]:
    zone = zone_named(past.athlete.time_zone)
    reported = {last.at.astimezone(zone).date() for last in past.check_in.last_trained.values()}
    return reported | {day for day, _ in past.log.sessions}


def _dates_of_group(past: Past, trained: LastTrainedTimes, group: str) -> set[date]:
    logged = {work.day for work in trained.of_group(group)}
    last = past.check_in.last_trained.get(group)
    if last is None:
        return logged
    return logged | {last.at.astimezone(zone_named(past.athlete.time_zone)).date()}
