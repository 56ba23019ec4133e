"""Hours as people write them."""

from __future__ import annotations

import pytest

from dawnrule.schemas.durations import read_hours, write_hours


@pytest.mark.parametrize(
    ("text", "hours"),
    [
        ("7", 7),
        ("7.5", 7.5),
        ("7,5", 7.5),
        ("7h", 7),
        ("7 h", 7),
        ("7 Std.", 7),
        ("7.5 hours", 7.5),
        ("7:30", 7.5),
        ("7h30", 7.5),
        ("7:15 h", 7.25),
        ("7 h 30 min", 7.5),
        ("7 Stunden 30 Minuten", 7.5),
        ("20 min", 1 / 3),
        ("90 minutes", 1.5),
        ("0", 0),
    ],
)
def test_hours_are_read_as_they_are_written(text: str, hours: float) -> None:
    assert read_hours(text) == hours


@pytest.mark.parametrize("text", ["", "lots", "-1", "7:60", "7 min 30", "7;30", "\u0667", "7-8"])
def test_what_may_mean_something_else_is_not_read(text: str) -> None:
    assert read_hours(text) is None


@pytest.mark.parametrize("hours", [0, 7, 7.5, 7.25, 22 / 3, 1 / 3])
def test_what_is_written_reads_as_the_same(hours: float) -> None:
    assert read_hours(write_hours(hours)) == pytest.approx(hours)
