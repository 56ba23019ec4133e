"""Dates as people read them, in the reader's language."""

from __future__ import annotations

from datetime import date, datetime
from zoneinfo import ZoneInfo

import pytest

from dawnrule.i18n.catalog import Texts
from dawnrule.i18n.dates import date_text, moment_text, with_dates_to_read

TODAY = date(2026, 3, 9)
ENGLISH, GERMAN = Texts.bundled("en"), Texts.bundled("de")


def test_a_moment_is_written_with_its_day_on_its_own_clock() -> None:
    evening = datetime(2026, 3, 10, 18, 0, tzinfo=ZoneInfo("Europe/Berlin"))
    assert moment_text(evening, ENGLISH, TODAY) == "Tue 10 March, 18:00"
    assert moment_text(evening, GERMAN, TODAY) == "Di 10. März, 18:00"


def test_the_year_stands_there_where_it_is_another() -> None:
    assert date_text(date(2025, 12, 31), ENGLISH, TODAY) == "Wed 31 December 2025"
    assert date_text(date(2025, 12, 31), GERMAN, TODAY) == "Mi 31. Dezember 2025"


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("Open since 2026-03-01.", "Open since Sun 1 March."),
        ("From 2026-03-10 11:00 on", "From Tue 10 March, 11:00 on"),
        ("2026-03-08 and 2026-03-09", "Sun 8 March and Mon 9 March"),
        ("2026-02-30 is none", "2026-02-30 is none"),
        ("2026-03-10T11:00:00+01:00 stays whole", "2026-03-10T11:00:00+01:00 stays whole"),
        ("b-2026-03-10-7", "b-2026-03-10-7"),
    ],
)
def test_dates_within_a_sentence_are_rewritten(written: str, read: str) -> None:
    assert with_dates_to_read(written, ENGLISH, TODAY) == read
