"""In which order may the numbers of a date stand?"""

from __future__ import annotations

from enum import StrEnum


class DateOrder(StrEnum):
    """An order that a sheet's dates may be declared to have."""

    DAY_MONTH_YEAR = "day-month-year"
    MONTH_DAY_YEAR = "month-day-year"
    YEAR_MONTH_DAY = "year-month-day"
