"""Facts of jump height and bar speed against the athlete's own mean (pure)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from statistics import fmean

from dawnrule.facts.history import Past, Unavailable, too_few
from dawnrule.model import Vocabulary
from dawnrule.model.entities import BarSpeed, CheckIn

PER_CENT = 100


def jump_height_cm(check_in: CheckIn) -> float | None:
    """Return the mean of a morning's trials, which is more sensitive than the best one.

    Claudino 2017, J Sci Med Sport 20(4):397-402.
    """
    return fmean(check_in.jump_height_cm) if check_in.jump_height_cm else None


def jump_height_drop_percent(past: Past) -> float | Unavailable | None:
    """Return how far this morning's jump is below the own mean; None where nobody jumped."""
    now = jump_height_cm(past.check_in)
    if now is None:
        return None
    window = past.parameters("jump_height_drop_percent")
    before = past.reported(jump_height_cm, 1, window["days"])
    if len(before) < window["least_mornings"]:
        return too_few("measurements before this one", window["least_mornings"], len(before))
    return drop_percent(now, fmean(before))


def bar_speed_drop_percent(past: Past, group: str) -> float | Unavailable | None:
    """Return the largest drop of bar speed for a muscle group below the own mean at that load;
    None where none was measured."""
    window = past.parameters("bar_speed_drop_percent")
    days = range(1, window["days"] + 1)
    drops: list[float] = []
    short = None
    for now in _of_group(past.check_in, group, past.vocabulary):
        alike = [
            one.metres_per_second
            for days_ago in days
            if days_ago in past.mornings
            for one in past.mornings[days_ago].bar_speed or ()
            if _is_alike(one, now, window["load_within_percent"])
        ]
        if len(alike) < window["least_measurements"]:
            short = too_few(
                "measurements before this one", window["least_measurements"], len(alike)
            )
        else:
            drops.append(drop_percent(now.metres_per_second, fmean(alike)))
    return max(drops) if drops else short


def drop_percent(now: float, usual: float) -> float:
    """Return by how many per cent ``now`` is below ``usual``, which must be above 0."""
    return (usual - now) * PER_CENT / usual


def _of_group(check_in: CheckIn, group: str, words: Vocabulary) -> Iterator[BarSpeed]:
    for one in check_in.bar_speed or ():
        trained: Iterable[str] = (
            words.patterns[one.pattern].muscle_groups if one.pattern else one.muscle_groups
        )
        if group in trained:
            yield one


def _is_alike(one: BarSpeed, other: BarSpeed, within_percent: float) -> bool:
    """Return whether two measurements are of one movement at nearly the same load."""
    same_movement = (one.pattern, one.muscle_groups) == (other.pattern, other.muscle_groups)
    apart = abs(one.load_kg - other.load_kg)
    return same_movement and apart * PER_CENT <= within_percent * other.load_kg
