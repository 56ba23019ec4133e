"""A week: the solver proposes, the rules decide every session, and what they refuse is ruled out
until all that is placed is let through."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import TypeAlias

from dawnrule.model import Vocabulary
from dawnrule.week.house_limits import TRAVELLING, HouseLimit, HouseLimits
from dawnrule.week.judge import Judge, Ruling
from dawnrule.week.numbers import WeekNumbers
from dawnrule.week.proposal import Choice, Proposals
from dawnrule.week.request import Placed, Room, WeekRequest

_MOST_ROUNDS = 80
_FAR_APART = timedelta(days=5)
"""Two sessions further apart are not decided beforehand, only where they are proposed."""

Refusal: TypeAlias = Ruling | HouseLimit
"""What keeps a session from a time: the ruling on it, or a house limit."""


@dataclass(frozen=True, slots=True)
class Week:
    """A week of one athlete. Every ruling in ``rulings`` lets its session through.

    ``refusals`` say what kept a wish from the times that were tried, by the place of the wish.
    ``is_best`` says that no week with fewer wishes left out is possible.
    """

    request: WeekRequest
    rulings: tuple[Ruling, ...]
    refusals: dict[int, tuple[Refusal, ...]]
    is_best: bool

    @property
    def placed(self) -> tuple[Placed, ...]:
        """The sessions that were placed, in the order of their time."""
        return tuple(ruling.session for ruling in self.rulings)

    def missing(self) -> dict[int, int]:
        """Return how many times each wish that is not met is missing, by its place."""
        counts = [sum(one.wish == place for one in self.placed) for place in self._places]
        wanted = [wish.times for wish in self.request.wishes]
        return {p: wanted[p] - counts[p] for p in self._places if counts[p] < wanted[p]}

    @property
    def _places(self) -> range:
        return range(len(self.request.wishes))


@dataclass(frozen=True, slots=True)
class Planner:
    """Lays out weeks for one athlete; ``days_trained`` are the dates before it on which the
    athlete trained, ``usual_sets`` the hard sets of each muscle group in a usual week."""

    judge: Judge
    days_trained: frozenset[date] = frozenset()
    usual_sets: Mapping[str, float] = field(default_factory=dict)
    numbers: WeekNumbers = field(default_factory=WeekNumbers.bundled)
    vocabulary: Vocabulary = field(default_factory=Vocabulary.bundled)

    def plan(self, request: WeekRequest, room: Room | None = None) -> Week:
        """Lay out the best week that the rules let through. The same input gives the same week."""
        search = _Search(self, request, room or Room())
        return search.run()

    def standing(
        self, request: WeekRequest, sessions: Sequence[Placed]
    ) -> list[tuple[Ruling, Refusal | None]]:
        """Judge sessions where they stand, beside what is fixed, with the rule set's refusal or
        the first house limit that each breaks; nothing is moved."""
        limits = HouseLimits(self.numbers, self.vocabulary)
        week = [*sessions, *(Placed.fixed(session) for session in request.fixed)]
        found: list[tuple[Ruling, Refusal | None]] = []
        for ruling in self.judge.rulings(week):
            session = ruling.session
            if session.wish is None:
                continue
            others = list(week)
            others.remove(session)  # just once: what is there twice would be at once
            broken = limits.broken_by(session, others)
            refusal = next(broken, None) if ruling.is_let_through else ruling
            if request.is_on_the_way(session.starts_at, session.ends_at):
                refusal = TRAVELLING
            found.append((ruling, refusal))
        return found


@dataclass(slots=True)
class _Search:
    planner: Planner
    request: WeekRequest
    room: Room
    refusals: dict[int, list[Refusal]] = field(default_factory=dict)
    _alone: set[int] = field(default_factory=set)
    _pairs: set[tuple[int, int]] = field(default_factory=set)

    def run(self) -> Week:
        limits = HouseLimits(self.planner.numbers, self.planner.vocabulary)
        choices = [c for c in self._choices() if not self._is_out(c, limits)]
        proposals = self._proposals(choices)
        for pair, limit in self._pairs_out(choices, limits):
            proposals.rule_out(pair)
            self._note(pair[1][0], limit)
        self._limit_sets(proposals, limits)
        let_through: tuple[Ruling, ...] = ()
        is_best = False
        for _ in range(_MOST_ROUNDS):
            proposed = proposals.best()
            rulings = self._rulings(proposed.placed)
            refused = [ruling for ruling in rulings if not ruling.is_let_through]
            kept = self._without(proposed.placed, refused)
            let_through = max(let_through, kept, key=len)
            if not refused:
                let_through, is_best = kept, proposed.is_best
                break
            for ruling in refused:
                self._rule_out(proposals, ruling, proposed.placed, choices)
        refusals = {place: tuple(found) for place, found in self.refusals.items()}
        return Week(self.request, let_through, refusals, is_best)

    def _proposals(self, choices: Sequence[Choice]) -> Proposals:
        athlete, numbers = self.request.athlete, self.planner.numbers
        days_off = numbers.days_off_at(athlete.age_years(self.request.first))
        return Proposals(self.request, choices, days_off, self.planner.days_trained, numbers)

    def _limit_sets(self, proposals: Proposals, limits: HouseLimits) -> None:
        """Keep the week's sets near the usual ones; say so to whom that may leave out."""
        once = [limits.sets_of(wish.blocks) for wish in self.request.wishes]
        fixed = limits.sets_of(block for one in self.request.fixed for block in one.blocks)
        most = limits.most_sets(self.planner.usual_sets, fixed)
        proposals.limit_sets(once, most)
        for group, limit in most.items():
            wanted = [
                (place, sets[group] * wish.times)
                for place, (sets, wish) in enumerate(zip(once, self.request.wishes, strict=True))
                if sets.get(group)
            ]
            if sum(sets for _, sets in wanted) > limit:
                for place, sets in wanted:
                    self._note(place, HouseLimit("sets_rise", limit, sets))

    def _choices(self) -> Iterator[Choice]:
        now = self.planner.judge.known.now
        for place, wish in enumerate(self.request.wishes):
            for start in self.request.starts(wish, now):
                if self.room.is_free(wish.room, start, start + timedelta(minutes=wish.minutes)):
                    yield place, start

    def _is_out(self, choice: Choice, limits: HouseLimits) -> bool:
        session = self._session(choice)
        broken = list(limits.broken_by(session, self._fixed()))
        if self.request.is_on_the_way(session.starts_at, session.ends_at):
            broken.append(TRAVELLING)
        for limit in broken:
            self._note(choice[0], limit)
        return bool(broken)

    def _pairs_out(
        self, choices: Sequence[Choice], limits: HouseLimits
    ) -> Iterator[tuple[tuple[Choice, Choice], HouseLimit]]:
        longest = timedelta(hours=self.planner.numbers.strength_endurance_hours)
        for first in choices:
            for second in choices:
                if timedelta(0) <= second[1] - first[1] < longest and first[0] != second[0]:
                    broken = limits.of_pair(self._session(second), self._session(first))
                    yield from (((first, second), limit) for limit in broken)

    def _rulings(self, placed: Iterable[Placed]) -> list[Ruling]:
        """Decide what is placed, and where the week comes again, that too."""
        sessions = [*placed, *self._fixed()]
        if self.request.repeats:
            sessions += [self.request.a_week_later(session) for session in sessions]
        rulings = self.planner.judge.rulings(sessions)
        return [ruling for ruling in rulings if ruling.session.wish is not None]

    def _without(self, placed: Sequence[Placed], refused: Sequence[Ruling]) -> tuple[Ruling, ...]:
        """Leave out what is refused until all that is left is let through."""
        left = list(placed)
        while refused:
            out = {self._choice(ruling.session) for ruling in refused}
            left = [session for session in left if self._choice(session) not in out]
            refused = [one for one in self._rulings(left) if not one.is_let_through]
        return tuple(ruling for ruling in self._rulings(left) if ruling.session.repeats is None)

    def _rule_out(
        self,
        proposals: Proposals,
        refused: Ruling,
        placed: Sequence[Placed],
        choices: Sequence[Choice],
    ) -> None:
        """Rule out the smallest set of sessions because of which one is refused: alone, beside one
        other, else with all that are needed for it."""
        session = refused.session
        place = _wish_of(session)
        if not self._ruling(session, ()).is_let_through:
            self._rule_out_alone(proposals, place, choices)
            proposals.rule_out([self._choice(session)])
            return
        repeated = map(self.request.a_week_later, placed) if session.repeats else ()
        beside = [*placed, *repeated]
        others = [one for one in beside if one != session and self._can_matter(one, session)]
        for other in reversed(others):
            if not self._ruling(session, (other,)).is_let_through:
                self._rule_out_pair(proposals, _wish_of(other), place, choices)
                proposals.rule_out([self._choice(other), self._choice(session)])
                return
        needed = self._needed(session, others)
        self._note(place, self._ruling(session, needed))
        proposals.rule_out([*map(self._choice, needed), self._choice(session)])

    def _rule_out_alone(self, proposals: Proposals, place: int, choices: Sequence[Choice]) -> None:
        if place in self._alone:
            return
        self._alone.add(place)
        for choice in choices:
            if choice[0] == place:
                ruling = self._ruling(self._session(choice), ())
                if not ruling.is_let_through:
                    self._note(place, ruling)
                    proposals.rule_out([choice])

    def _rule_out_pair(
        self, proposals: Proposals, first: int, second: int, choices: Sequence[Choice]
    ) -> None:
        """Rule out two wishes at every distance in time at which the later is refused, decided as
        late in the week as they can stand, where least of today is left."""
        if (first, second) in self._pairs:
            return
        self._pairs.add((first, second))
        by_distance: dict[tuple[timedelta, bool], list[tuple[Placed, Placed]]] = {}
        for one, later in self._in_order(first, second, choices):
            by_distance.setdefault(self._distance(one, later), []).append((one, later))
        for pairs in by_distance.values():
            one, later = max(pairs, key=lambda pair: pair[1].starts_at)
            ruling = self._ruling(later, (one,))
            if not ruling.is_let_through and self._ruling(later, ()).is_let_through:
                self._note(second, ruling)
                for pair in pairs:
                    proposals.rule_out(map(self._choice, pair))

    def _in_order(
        self, first: int, second: int, choices: Sequence[Choice]
    ) -> Iterator[tuple[Placed, Placed]]:
        """Yield two wishes wherever the second comes later, in this week or when it comes again."""
        earlier = [self._session(choice) for choice in choices if choice[0] == first]
        later = [self._session(choice) for choice in choices if choice[0] == second]
        if self.request.repeats:
            later += list(map(self.request.a_week_later, later))
        for one in earlier:
            for other in later:
                hours_apart = other.starts_at - one.starts_at
                if timedelta(0) < hours_apart < _FAR_APART and not self._is_twice(one, other):
                    yield one, other

    def _is_twice(self, one: Placed, later: Placed) -> bool:
        """Return whether it is one wish twice a day, which is never proposed."""
        return one.wish == later.wish and self._same_day(one, later)

    def _distance(self, one: Placed, later: Placed) -> tuple[timedelta, bool]:
        return later.starts_at - one.starts_at, self._same_day(one, later)

    def _same_day(self, one: Placed, other: Placed) -> bool:
        return self.request.date_of(one.starts_at) == self.request.date_of(other.starts_at)

    def _needed(self, session: Placed, others: Sequence[Placed]) -> list[Placed]:
        needed = list(others)
        for other in others:
            fewer = [one for one in needed if one != other]
            if not self._ruling(session, fewer).is_let_through:
                needed = fewer
        return needed

    def _can_matter(self, other: Placed, session: Placed) -> bool:
        return self._same_day(other, session) or other.starts_at < session.starts_at

    def _ruling(self, session: Placed, others: Iterable[Placed]) -> Ruling:
        return self.planner.judge.ruling(session, [*others, *self._fixed()])

    def _note(self, place: int, refusal: Refusal) -> None:
        self.refusals.setdefault(place, []).append(refusal)

    def _session(self, choice: Choice) -> Placed:
        return Placed.of(self.request.wishes[choice[0]], *choice)

    def _choice(self, session: Placed) -> Choice:
        """Return the choice that a session stands for, in this week or in the next."""
        return _wish_of(session), session.repeats or session.starts_at

    def _fixed(self) -> list[Placed]:
        return [Placed.fixed(session) for session in self.request.fixed]


def _wish_of(session: Placed) -> int:
    assert session.wish is not None
    return session.wish
