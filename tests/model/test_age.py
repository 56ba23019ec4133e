"""Age on a date."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from tests.factories import KIM, facts, morning

LEAP_DAY = date(2004, 2, 29)


@pytest.mark.parametrize(
    ("born", "on", "age"),
    [
        (date(2008, 3, 9), date(2026, 3, 8), 17),
        (date(2008, 3, 9), date(2026, 3, 9), 18),
        (date(2008, 12, 31), date(2026, 12, 30), 17),
        (date(2008, 12, 31), date(2027, 1, 1), 18),
        (date(2026, 3, 9), date(2026, 3, 9), 0),
    ],
)
def test_age_turns_on_the_birthday(born: date, on: date, age: int) -> None:
    assert replace(KIM, date_of_birth=born).age_years(on) == age


@pytest.mark.parametrize(
    ("on", "age"),
    [
        (date(2022, 2, 28), 17),
        (date(2022, 3, 1), 18),
        (date(2024, 2, 28), 19),
        (date(2024, 2, 29), 20),
        (date(2028, 2, 29), 24),
    ],
)
def test_a_birthday_on_a_leap_day_falls_on_the_first_of_march_in_other_years(
    on: date, age: int
) -> None:
    assert replace(KIM, date_of_birth=LEAP_DAY).age_years(on) == age


def test_age_is_that_on_the_date_of_the_check_in() -> None:
    birthday_tomorrow = replace(KIM, date_of_birth=date(2008, 3, 10))
    assert facts(morning(), athlete=birthday_tomorrow).day["age_years"] == 17


def test_age_is_not_guessed_without_a_date_of_birth() -> None:
    nobody_knows = replace(KIM, date_of_birth=None)
    assert nobody_knows.age_years(date(2026, 3, 9)) is None
    assert "age_years" not in facts(morning(), athlete=nobody_knows).day
