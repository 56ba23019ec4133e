"""Facts of sleep, heart rate and soreness from earlier mornings (pure)."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise
from math import fsum, log, sqrt
from statistics import fmean, mean, median, stdev

from dawnrule.facts.history import FactFunction, Past, Unavailable, too_few
from dawnrule.model.entities import CheckIn


def rmssd_ms(rr_intervals_ms: Sequence[float]) -> float | None:
    """Return the root mean square of successive differences of RR intervals, in ms; None for
    fewer than two intervals.

    Task Force of ESC and NASPE 1996, Eur Heart J 17:354-381.
    """
    squares = [(later - earlier) ** 2 for earlier, later in pairwise(rr_intervals_ms)]
    return sqrt(fsum(squares) / len(squares)) if squares else None


def mean_ln(rmssd_values_ms: Sequence[float]) -> float:
    """Return the mean of the natural logarithms of rMSSD values above 0, without rounding on the
    way: values that never vary have to lie inside their own band.

    Plews 2013, Sports Med 43(9):773-781.
    """
    return mean(log(value) for value in rmssd_values_ms)


def own_band(rmssd_values_ms: Sequence[float], band_sd: float) -> tuple[float, float]:
    """Return the mean of ln(rMSSD) less and plus ``band_sd`` standard deviations (n - 1), the
    smallest worthwhile change. Needs at least two values above 0.

    Vesterinen 2016, Med Sci Sports Exerc 48(7):1347-1354.
    """
    logs = [log(value) for value in rmssd_values_ms]
    middle, half = mean(logs), band_sd * stdev(logs)
    return middle - half, middle + half


ADULT_YEARS = 18
"""The age whose need for sleep counts where the age is not known."""

HOURS_A_DAY = 24.0


def sleep_need_hours(
    age_years: int, least_hours_from_age: Sequence[tuple[int, float]]
) -> float | None:
    """Return the least hours of sleep recommended at an age; None below the youngest of the table.

    Hirshkowitz 2015, Sleep Health 1(1):40-43; the table stands in the fact dictionary.
    """
    steps = [hours for age, hours in least_hours_from_age if age <= age_years]
    return steps[-1] if steps else None


def hrv_rmssd_ms(check_in: CheckIn) -> float | None:
    """Return the rMSSD of a morning: as reported, else of its RR intervals."""
    if check_in.rr_intervals_ms is not None:
        return rmssd_ms(check_in.rr_intervals_ms)
    return check_in.hrv_rmssd_ms


def _sleep_mean(past: Past) -> float | Unavailable:
    window = past.parameters("sleep_mean_7_nights_hours")
    nights = past.reported(lambda c: c.sleep.hours, 0, window["nights"])
    if len(nights) < window["least_nights"]:
        return too_few("nights", window["least_nights"], len(nights))
    return fmean(nights)


def _sleep_shortfall(past: Past) -> float | Unavailable:
    mean = _sleep_mean(past)
    if isinstance(mean, Unavailable):
        return mean
    need = _sleep_need(past)
    return need if isinstance(need, Unavailable) else max(need - mean, 0.0)


def _sleep_need(past: Past) -> float | Unavailable:
    """Return the least hours for the athlete's age; an adult's for the second edition of facts
    where the age is not known."""
    age = past.athlete.age_years(past.check_in.date)
    if age is None:
        if not past.is_second_edition:
            return Unavailable("needs the date of birth, which is not known")
        age = ADULT_YEARS
    need = sleep_need_hours(age, past.parameters("sleep_shortfall_hours")["least_hours_from_age"])
    if need is None:
        return Unavailable(f"there is no recommendation for {age} years of age in the table")
    return need


def sleep_with_naps_hours(past: Past) -> float | None:
    """Return the hours of last night and of naps; None where last night was not reported."""
    sleep = past.check_in.sleep
    if sleep.hours is None:
        return None
    return min(sleep.hours + (sleep.naps_hours or 0.0), HOURS_A_DAY)


def sleep_short_of_need_hours(past: Past) -> float | None:
    """Return by how much last night and naps fall short of the need; None where unknown."""
    slept, need = sleep_with_naps_hours(past), _sleep_need(past)
    if slept is None or isinstance(need, Unavailable):
        return None
    return max(need - slept, 0.0)


def sleep_need_assumed(past: Past) -> bool | None:
    """Return whether an adult's need was used, as the age is not known; None where no need was."""
    if sleep_with_naps_hours(past) is None and isinstance(_sleep_mean(past), Unavailable):
        return None
    return past.athlete.date_of_birth is None


def fatigue_above_usual(past: Past) -> float | Unavailable:
    """Return this morning's fatigue less the athlete's own median."""
    return _above_own_median(past, "fatigue_above_usual", lambda c: c.fatigue)


def strain_mornings(past: Past) -> int | Unavailable:
    """Count the mornings in a row with much fatigue or stress; one without a check-in ends it."""
    limits = past.parameters("strain_mornings")
    if past.check_in.fatigue is None and past.check_in.stress is None:
        return Unavailable("needs this morning's value, which was not reported")
    count = 0
    while (one := past.mornings.get(count)) is not None:
        strained = (one.fatigue or 0) >= limits["fatigue"] or (one.stress or 0) >= limits["stress"]
        if not strained:
            break
        count += 1
    return count


def _resting_hr_above_median(past: Past) -> float | Unavailable:
    return _above_own_median(past, "resting_hr_above_median_bpm", _resting_hr_bpm)


def resting_hr_median_bpm(past: Past) -> float | Unavailable:
    """Return the athlete's own median that this morning's resting heart rate is held against."""
    return _own_median(past, "resting_hr_above_median_bpm", _resting_hr_bpm)


def soreness_above_usual(past: Past, group: str) -> float | Unavailable:
    """Return this morning's soreness of a muscle group less the athlete's own median."""
    return _above_own_median(past, "soreness_above_usual", lambda c: c.soreness.get(group))


def _above_own_median(
    past: Past, fact: str, read: Callable[[CheckIn], float | None]
) -> float | Unavailable:
    now = read(past.check_in)
    if now is None:
        return Unavailable("needs this morning's value, which was not reported")
    usual = _own_median(past, fact, read)
    return usual if isinstance(usual, Unavailable) else float(now - usual)


def _own_median(
    past: Past, fact: str, read: Callable[[CheckIn], float | None]
) -> float | Unavailable:
    window = past.parameters(fact)
    before = past.reported(read, 1, window["days"])
    if len(before) < window["least_mornings"]:
        return too_few("mornings before this one", window["least_mornings"], len(before))
    return median(before)


def hrv_mean_ln(past: Past) -> float | Unavailable:
    """Return the mean of ln(rMSSD in ms) over the days that end this morning."""
    window = past.parameters("hrv_mean_7_days_ln")
    values = past.reported(_hrv, 0, window["days"])
    if len(values) < window["least_mornings"]:
        return too_few("mornings", window["least_mornings"], len(values))
    return mean_ln(values)


def _hrv_below_band(past: Past) -> bool | Unavailable:
    mean = hrv_mean_ln(past)
    if isinstance(mean, Unavailable):
        return mean
    band = hrv_band_ln(past)
    return band if isinstance(band, Unavailable) else mean < band[0]


def hrv_band_ln(past: Past) -> tuple[float, float] | Unavailable:
    """Return both ends of the athlete's own band; the mean is compared with the lower one."""
    window = past.parameters("hrv_below_band")
    first = past.parameters("hrv_mean_7_days_ln")["days"]
    baseline = past.reported(_hrv, first, window["days"])
    if len(baseline) < window["least_mornings"]:
        return too_few("mornings in the baseline", window["least_mornings"], len(baseline))
    return own_band(baseline, window["band_sd"])


def _resting_hr_bpm(check_in: CheckIn) -> int | None:
    return check_in.resting_hr_bpm


def _hrv(check_in: CheckIn) -> float | None:
    """Return the rMSSD of a morning; 0 ms has no logarithm and counts as not reported."""
    return hrv_rmssd_ms(check_in) or None


DAY_FACTS: Mapping[str, FactFunction] = {
    "sleep_mean_7_nights_hours": _sleep_mean,
    "sleep_shortfall_hours": _sleep_shortfall,
    "resting_hr_above_median_bpm": _resting_hr_above_median,
    "hrv_mean_7_days_ln": hrv_mean_ln,
    "hrv_below_band": _hrv_below_band,
}
