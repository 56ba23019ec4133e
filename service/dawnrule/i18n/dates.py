"""Dates and times as people read them: ``Tue 10 March, 18:00`` (pure).

Interfaces, sheets and records keep ISO 8601; these are for pages.
"""

from __future__ import annotations

import re
from datetime import date, datetime

from dawnrule.i18n.catalog import Texts

_ISO = re.compile(r"(?<![\w-])(\d{4}-\d{2}-\d{2})(?: (\d{2}:\d{2}))?(?![\w:-]|\.\d)")


def date_text(day: date, texts: Texts, today: date) -> str:
    """Write a date: ``Tue 10 March``, with the year where it is not that of ``today``."""
    name = "dates.day" if day.year == today.year else "dates.day_and_year"
    return texts.say(
        name,
        weekday=texts.say(f"dates.weekdays.{day.isoweekday()}"),
        day=day.day,
        month=texts.say(f"dates.months.{day.month}"),
        year=day.year,
    )


def moment_text(moment: datetime, texts: Texts, today: date) -> str:
    """Write a moment on the clock of its own time zone: ``Tue 10 March, 18:00``."""
    day = date_text(moment.date(), texts, today)
    return texts.say("dates.day_and_time", day=day, time=moment.strftime("%H:%M"))


def with_dates_to_read(text: str, texts: Texts, today: date) -> str:
    """Rewrite the dates and times of a sentence that has them in ISO 8601, as records do. What
    only looks like a date stays as it is."""

    def rewritten(found: re.Match[str]) -> str:
        day, clock = found.groups()
        try:
            if clock is None:
                return date_text(date.fromisoformat(day), texts, today)
            return moment_text(datetime.fromisoformat(f"{day} {clock}"), texts, today)
        except ValueError:
            return found[0]

    return _ISO.sub(rewritten, text)
