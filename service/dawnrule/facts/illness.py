"""Facts of illness: fever by temperature, and days ill (pure)."""

from __future__ import annotations

from dawnrule.facts.history import Past
from dawnrule.model import Vocabulary
from dawnrule.model.entities import CheckIn

NOT_ILL, FEVER = "none", "fever"


def illness_of(check_in: CheckIn, fever_from_c: float, words: Vocabulary) -> str | None:
    """Return the worst illness of a check-in: as ticked, and fever by its temperature."""
    has_fever = check_in.temperature_c is not None and check_in.temperature_c >= fever_from_c
    found = [one for one in (check_in.illness, FEVER if has_fever else None) if one is not None]
    return max(found, key=words.illnesses.index, default=None)


def fever_from_c(past: Past) -> float:
    """Return the temperature from which an illness is fever."""
    return float(past.parameters("open_illness")["fever_from_c"])


def illness_days(past: Past) -> int | None:
    """Count the days since the present illness was first reported, this morning counted.

    An answered "none" ends it, a morning without an answer does not; None for who is not ill.
    """
    limit, first = fever_from_c(past), None
    for days_ago in sorted(past.mornings):
        found = illness_of(past.mornings[days_ago], limit, past.vocabulary)
        if found == NOT_ILL:
            break
        if found is not None:
            first = days_ago
    return None if first is None else first + 1
