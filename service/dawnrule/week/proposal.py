"""Proposals of a week by a constraint solver: which wish at which time, with what was ruled out
left out (OR-tools CP-SAT, one worker, so that the same input gives the same week)."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import combinations

from ortools.sat.python import cp_model

from dawnrule.facts.work import ENDURANCE, HARD_ENDURANCE, SPEED
from dawnrule.model import Vocabulary
from dawnrule.model.training import groups_of
from dawnrule.model.weeks import WEEKDAYS, Wish
from dawnrule.week.numbers import WeekNumbers
from dawnrule.week.request import ONE_DAY, Placed, WeekRequest

_SEED = 1
_EFFORT = 4.0
"""How long the solver works at the most, in its own deterministic time."""

_PLACED, _GAP_HOUR, _ORDER, _APART, _HARD_DAYS, _PREFERRED, _MOVED = (
    100_000,
    20,
    300,
    200,
    100,
    50,
    30,
)
"""Weights in the order of what matters: all that is wanted, the hours between growth work of a
muscle group, the order of goals on a day, strength and endurance far apart, hard days apart,
preferred days, what stands already."""

Choice = tuple[int, datetime]
"""A wish (by its place) at a time (UTC)."""


@dataclass(frozen=True, slots=True)
class Proposed:
    """A proposal: what is placed, and whether no better week is left."""

    placed: tuple[Placed, ...]
    is_best: bool


class Proposals:
    """Proposes weeks; ``rule_out`` takes sets of choices that must not stand together."""

    def __init__(
        self,
        request: WeekRequest,
        choices: Sequence[Choice],
        days_off: int,
        days_trained: Iterable[date],
        numbers: WeekNumbers,
    ) -> None:
        self._request, self._numbers = request, numbers
        self._vocabulary = Vocabulary.bundled()
        self._model = cp_model.CpModel()
        self._is_placed = {
            choice: self._model.new_bool_var(f"{choice[0]}@{choice[1].isoformat()}")
            for choice in choices
        }
        self._fixed = [Placed.fixed(session) for session in request.fixed]
        self._dates = {at: request.date_of(at) for _, at in choices}
        self._costs: dict[tuple[int, int, timedelta, bool], int] = {}
        self._wish_at_most()
        self._no_two_at_once()
        self._keep_days_off(days_off, frozenset(days_trained))
        self._model.maximize(sum(self._value()))

    def limit_sets(
        self, sets_of_wish: Sequence[Mapping[str, int]], most: Mapping[str, int]
    ) -> None:
        """Keep the sets of muscle groups in the week within limits; ``sets_of_wish`` are those of
        each wish once."""
        for group, limit in most.items():
            sets = [
                sets_of_wish[place].get(group, 0) * placed
                for (place, _), placed in self._is_placed.items()
                if sets_of_wish[place].get(group, 0)
            ]
            if sets:
                self._model.add(sum(sets) <= limit)

    def rule_out(self, together: Iterable[Choice]) -> None:
        """Take a set of choices that must not all stand."""
        chosen = [self._is_placed[choice] for choice in together if choice in self._is_placed]
        self._model.add_bool_or([placed.negated() for placed in chosen])

    def best(self) -> Proposed:
        """Return the best week that is left."""
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = _SEED
        solver.parameters.max_deterministic_time = _EFFORT
        solver.parameters.catch_sigint_signal = False  # it would leave Ctrl-C to end the process
        status = solver.solve(self._model)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return Proposed((), is_best=False)
        chosen = [c for c, placed in self._is_placed.items() if solver.boolean_value(placed)]
        wishes = self._request.wishes
        placed = [Placed.of(wishes[place], place, at) for place, at in chosen]
        in_order = tuple(sorted(placed, key=lambda one: (one.starts_at, one.name)))
        return Proposed(in_order, is_best=status == cp_model.OPTIMAL)

    def _wish_at_most(self) -> None:
        for place, wish in enumerate(self._request.wishes):
            own = [placed for (of, _), placed in self._is_placed.items() if of == place]
            self._model.add(sum(own) <= wish.times)
            by_day = defaultdict(list)
            for (of, at), placed in self._is_placed.items():
                if of == place:
                    by_day[self._request.date_of(at)].append(placed)
            for on_one_day in by_day.values():
                self._model.add_at_most_one(on_one_day)

    def _no_two_at_once(self) -> None:
        intervals = [
            self._model.new_optional_fixed_size_interval_var(
                _minute(at), round(self._wish(place).minutes), placed, f"during {place} {at}"
            )
            for (place, at), placed in self._is_placed.items()
        ]
        intervals += [
            self._model.new_fixed_size_interval_var(
                _minute(one.starts_at), round(one.minutes), one.name
            )
            for one in self._fixed
        ]
        self._model.add_no_overlap(intervals)

    def _keep_days_off(self, days_off: int, days_trained: frozenset[date]) -> None:
        """Of any seven days so many are free; days before the week count as they were."""
        fixed = {self._request.date_of(one.starts_at) for one in self._fixed}
        used: dict[date, cp_model.IntVar | int] = dict.fromkeys(days_trained | fixed, 1)
        for day in self._request.dates:
            if day in fixed:
                continue
            on_day = [
                p for (_, at), p in self._is_placed.items() if self._request.date_of(at) == day
            ]
            if on_day:
                used[day] = self._model.new_bool_var(f"trained on {day}")
                for one in on_day:
                    self._model.add_implication(one, used[day])
        for last in self._request.dates:
            seven = [used.get(last - n * ONE_DAY, 0) for n in range(7)]
            if any(not isinstance(one, int) for one in seven):
                free_days = sum(one for one in seven if isinstance(one, int))
                most = max(7 - days_off, free_days)
                self._model.add(sum(seven) <= most)

    def _value(self) -> Iterator[cp_model.LinearExprT]:
        for (place, at), placed in self._is_placed.items():
            wish = self._wish(place)
            is_preferred = WEEKDAYS[self._dates[at].weekday()] in wish.preferred_weekdays
            yield (_PLACED + (_PREFERRED if is_preferred else 0)) * placed
        for standing in self._request.keep:
            kept = (standing.wish, standing.starts_at)
            if standing.wish is not None and kept in self._is_placed:
                yield _MOVED * self._is_placed[standing.wish, standing.starts_at]
        for first, second in combinations(self._is_placed, 2):
            cost = self._cost(first, second)
            if cost:
                both = self._model.new_bool_var("")
                pair = [self._is_placed[first], self._is_placed[second]]
                self._model.add_bool_or([*(one.negated() for one in pair), both])
                yield -cost * both
        for choice, placed in self._is_placed.items():
            cost = sum(self._cost_beside(choice, fixed) for fixed in self._fixed)
            if cost:
                yield -cost * placed

    def _cost(self, first: Choice, second: Choice) -> int:
        """Return what speaks against two choices in one week; it hangs on their wishes, on the
        time between them, and on whether they are on one day."""
        earlier, later = (first, second) if first[1] <= second[1] else (second, first)
        same_day = self._dates[earlier[1]] == self._dates[later[1]]
        key = (earlier[0], later[0], later[1] - earlier[1], same_day)
        if key not in self._costs:
            one, other = (Placed.of(self._wish(p), p, at) for p, at in (earlier, later))
            self._costs[key] = self._cost_of(one, other)
        return self._costs[key]

    def _cost_beside(self, choice: Choice, fixed: Placed) -> int:
        return self._cost_of(Placed.of(self._wish(choice[0]), *choice), fixed)

    def _cost_of(self, one: Placed, other: Placed) -> int:
        """Return what speaks against two sessions in one week, 0 for nothing."""
        earlier, later = sorted((one, other), key=lambda session: session.starts_at)
        hours = (later.starts_at - earlier.starts_at) / timedelta(hours=1)
        until_again = self._request.days * 24 - hours if self._request.repeats else hours
        nearest = min(hours, until_again)
        numbers, cost = self._numbers, 0.0
        if nearest < numbers.growth_best_hours and self._share_growth(earlier, later):
            cost += _GAP_HOUR * (numbers.growth_best_hours - nearest)
        if nearest < numbers.hard_best_hours and _is_hard(earlier) and _is_hard(later):
            cost += _HARD_DAYS
        if self._request.date_of(earlier.starts_at) == self._request.date_of(later.starts_at):
            if self._place_in_day(earlier) > self._place_in_day(later):
                cost += _ORDER
            if hours < numbers.strength_endurance_better_hours and _mix(earlier, later):
                cost += _APART
        return round(cost)

    def _share_growth(self, one: Placed, other: Placed) -> bool:
        return not _growth_groups(one, self._vocabulary).isdisjoint(
            _growth_groups(other, self._vocabulary)
        )

    def _place_in_day(self, session: Placed) -> int:
        return max(self._numbers.place_in_day(block.goal) for block in session.blocks)

    def _wish(self, place: int) -> Wish:
        return self._request.wishes[place]


def _minute(at: datetime) -> int:
    return round(at.timestamp() / 60)


def _growth_groups(session: Placed, vocabulary: Vocabulary) -> frozenset[str]:
    return frozenset(
        group
        for block in session.blocks
        if vocabulary.goals[block.goal] == "growth"
        for group in groups_of(block, vocabulary)
    )


def _is_hard(session: Placed) -> bool:
    return any(block.goal in HARD_ENDURANCE or block.goal == SPEED for block in session.blocks)


def _mix(one: Placed, other: Placed) -> bool:
    """Whether one is endurance and the other is not."""
    endurance = [
        all(block.goal in ENDURANCE for block in session.blocks) for session in (one, other)
    ]
    return endurance[0] != endurance[1]
