"""Where does each value of a chart lie? Plain geometry for lines over days (pure).

All lengths are CSS pixels. A chart's days are as wide as the columns of the table above it, so
that everything of one day stands in one line. A day without a value is a gap: a line ends before
it and begins anew after it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from math import ceil, floor, log10
from typing import Self

Values = Sequence[float | None]

LABEL_WIDTH = 104
RIGHT_LABEL_WIDTH = 36
HEIGHT = 128
_MARGIN = 12
_TICKS = 4
_NICE_STEPS = (1, 2, 5, 10)


@dataclass(frozen=True, slots=True)
class Scale:
    """The axes of a chart: days from left to right, values from ``least`` up to ``greatest``."""

    days: int
    day_width: int
    least: float
    greatest: float
    step: float

    @classmethod
    def over(cls, every: Iterable[Values], day_width: int, least: float | None = None) -> Self:
        """Axes that hold all values of several lines, at least one of them known; from ``least``
        on, or else from a round number under the smallest."""
        lines = list(every)
        known = [value for line in lines for value in line if value is not None]
        low = min(known) if least is None else least
        step = _nice_step((max(known) - low) / _TICKS)
        bottom = floor(low / step) * step
        top = max(ceil(max(known) / step) * step, bottom + step)
        return cls(len(lines[0]), day_width, bottom, top, step)

    @property
    def width(self) -> int:
        """The whole chart, with the room for labels at both sides."""
        return self.right + RIGHT_LABEL_WIDTH

    @property
    def right(self) -> int:
        """Where the last day ends."""
        return LABEL_WIDTH + self.days * self.day_width

    def x(self, day: float) -> float:
        """The middle of a day, counted from 0."""
        return LABEL_WIDTH + (day + 0.5) * self.day_width

    def y(self, value: float) -> float:
        """The height of a value; 0 is at the top of the chart."""
        share = (value - self.least) / (self.greatest - self.least)
        return round(HEIGHT - _MARGIN - share * (HEIGHT - 2 * _MARGIN), 1)

    def ticks(self) -> list[tuple[float, str]]:
        """The heights of the round numbers, and how they are written with a point."""
        count = round((self.greatest - self.least) / self.step)
        values = (self.least + index * self.step for index in range(count + 1))
        return [(self.y(value), f"{round(value, 6):g}") for value in values]

    def points(self, values: Values) -> list[tuple[float, float]]:
        """The middle of each day that has a value."""
        return [(self.x(day), self.y(v)) for day, v in enumerate(values) if v is not None]

    def line(self, values: Values) -> str:
        """A path from day to day, interrupted where a day has no value."""
        return " ".join(
            "M" + "L".join(f"{self.x(day):g} {self.y(value):g}" for day, value in run)
            for run in _runs(values)
        )

    def level(self, values: Values) -> str:
        """A path that is level over the width of each day; it steps where the value changes."""
        return " ".join(
            "M" + "L".join(self._over_day(day, value) for day, value in run)
            for run in _runs(values)
        )

    def stems(self, values: Values) -> str:
        """A path with an upright line for each value but 0, from the bottom of the chart."""
        bottom = self.y(self.least)
        return "".join(f"M{x:g} {bottom:g}V{y:g}" for x, y in self.points(values) if y != bottom)

    def _over_day(self, day: int, value: float) -> str:
        left, right, y = self.x(day - 0.5), self.x(day + 0.5), self.y(value)
        return f"{left:g} {y:g}L{right:g} {y:g}"


def _runs(values: Values) -> Iterator[list[tuple[int, float]]]:
    """The days with their values, in stretches without a gap."""
    for is_known, run in groupby(enumerate(values), lambda entry: entry[1] is not None):
        if is_known:
            yield [(day, value) for day, value in run if value is not None]


def _nice_step(rough: float) -> float:
    """The next of 1, 2, 5, 10, 20, ... and of their tenths, hundredths and so on."""
    if rough <= 0:
        return 1
    power = 10.0 ** floor(log10(rough))
    return next((nice * power for nice in _NICE_STEPS if nice * power >= rough), 10 * power)
