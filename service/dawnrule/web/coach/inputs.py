"""The rows of *Why* on what went in: all that a check-in says (pure)."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import TypeVar

from dawnrule.advice.composer import Composer
from dawnrule.model import FactValue
from dawnrule.model.entities import BarSpeed, Block, Pain
from dawnrule.model.record import Record
from dawnrule.model.time_zones import zone_named
from dawnrule.rules.text import Prose, exact_number

One = TypeVar("One")


@dataclass(frozen=True, slots=True)
class Row:
    """A named value with its unit. ``value`` is None when it was not reported, and ``why`` then
    gives the reason, if known. ``name`` is its name in the interface, if it has one."""

    label: str
    value: str | None
    unit: str = ""
    why: str = ""
    name: str = ""


def local_time(moment: datetime, time_zone: str) -> str:
    """Format a moment in a time zone, with the name of the zone."""
    local = moment.astimezone(zone_named(time_zone))
    return f"{local.strftime('%Y-%m-%d %H:%M')} ({time_zone})"


class Inputs:
    """The inputs of a check-in, row by row, in one language."""

    def __init__(self, record: Record, composer: Composer, prose: Prose) -> None:
        self._check_in = record.check_in
        self._parts = record.advice.parts
        self._time_zone = record.athlete.time_zone
        self._dictionary = composer.dictionary
        self._texts = composer.texts
        self._say = composer.texts.say
        self._label = composer.vocabulary.label
        self._prose = prose

    def rows(self) -> Iterator[Row]:
        """Yield every row: what is asked each morning, reported or not, then everything else that
        was sent, and the plan."""
        check_in = self._check_in
        yield self._of_fact("sleep_hours", check_in.sleep.hours)
        yield self._of_fact("sleep_quality", check_in.sleep.quality)
        yield self._of_fact("fatigue", check_in.fatigue)
        yield self._of_fact("stress", check_in.stress)
        yield self._of_fact("resting_hr_bpm", check_in.resting_hr_bpm)
        yield self._of_fact("hrv_rmssd_ms", check_in.hrv_rmssd_ms)
        yield from self._soreness()
        yield self._words("illness", self._illness())
        yield self._words("warning_signs", self._warning_signs())
        yield self._words("pain", self._pain())
        yield from (row for row in self._not_asked() if row.value is not None)
        yield from self._last_trained()
        yield from self._plan()

    def _not_asked(self) -> Iterator[Row]:
        """Yield what a normal morning does not need, reported or not."""
        check_in, sleep = self._check_in, self._check_in.sleep
        reported_at = check_in.reported_at
        yield self._words(
            "reported_at", local_time(reported_at, self._time_zone) if reported_at else None
        )
        yield self._number("naps_hours", sleep.naps_hours, "h")
        intervals = check_in.rr_intervals_ms
        yield self._number("rr_intervals", len(intervals) if intervals else None)
        yield self._of_fact("temperature_c", check_in.temperature_c)
        yield self._of_fact("fever_medicine", check_in.fever_medicine)
        jumps = "; ".join(map(self._count, check_in.jump_height_cm or ()))
        yield self._words("jump_height_cm", jumps or None, "cm")
        yield self._number("grip_kg", check_in.grip_kg, "kg")
        yield from map(self._bar_speed, check_in.bar_speed or ())
        if journey := check_in.journey:
            yield self._of_fact("time_zones_crossed", journey.time_zones_crossed)
            yield self._words("arrived_on", journey.arrived_on.isoformat())
        if heat := check_in.heat:
            yield self._of_fact("wbgt_c", heat.wbgt_c)
            yield self._number("heat_temperature_c", heat.temperature_c, "°C")
            yield self._number("heat_humidity_percent", heat.humidity_percent, "%")
            yield self._of_fact("heat_acclimatised", heat.acclimatised)
        if takes := check_in.takes:
            yield self._number("caffeine_mg", takes.caffeine_mg, "mg")
            yield self._number("bicarbonate_g", takes.bicarbonate_g, "g")
            yield self._number("creatine_g", takes.creatine_g, "g")
            yield self._words("takes_other", takes.other)

    def _of_fact(self, fact: str, value: FactValue | None) -> Row:
        """Make a row of an input that is a fact as it is, under the name of that."""
        definition = self._dictionary[fact]
        text = None if value is None else self._prose.exact_without_unit(fact, value)
        return Row(definition.label, text, self._texts.unit_alone(definition.unit), name=fact)

    def _words(self, name: str, value: str | None, unit: str = "") -> Row:
        return Row(self._say(f"coach_why.input_{name}"), value, unit, name=name)

    def _number(self, name: str, value: float | None, unit: str = "") -> Row:
        return self._words(name, None if value is None else self._count(value), unit)

    def _count(self, value: float) -> str:
        return self._texts.number(exact_number(value))

    def _soreness(self) -> Iterator[Row]:
        """Yield the soreness of each muscle group that is planned or was rated."""
        rated = self._check_in.soreness
        planned = [part.muscle_group for part in self._parts if part.muscle_group]
        unit = self._texts.unit_alone(self._dictionary["soreness"].unit)
        for group in dict.fromkeys((*planned, *rated)):
            label = self._say("coach_why.input_soreness", muscle_group=self._label(group))
            value = rated.get(group)
            text = None if value is None else self._count(value)
            yield Row(label, text, unit, name=f"soreness/{group}")

    def _illness(self) -> str | None:
        illness = self._check_in.illness
        return illness and self._say(f"illnesses.{illness}")

    def _warning_signs(self) -> str | None:
        signs = self._check_in.warning_signs
        return self._listing(signs, lambda sign: self._say(f"warning_signs.{sign}"))

    def _pain(self) -> str | None:
        return self._listing(self._check_in.pain, self._one_pain)

    def _one_pain(self, pain: Pain) -> str:
        say = self._say
        words = [pain.where, say(f"pain_kinds.{pain.kind}"), *map(self._label, pain.muscle_groups)]
        if pain.place is not None:
            words.append(say("coach_why.pain_place", place=self._label(pain.place)))
        if pain.side is not None:
            words.append(say("coach_why.pain_side", side=say(f"sides.{pain.side}")))
        if pain.severity is not None:
            words.append(say("coach_why.pain_severity", count=self._count(pain.severity)))
        if pain.onset is not None:
            words.append(say("coach_why.pain_onset", onset=say(f"onsets.{pain.onset}")))
        if pain.after is not None:
            words.append(say(f"pain_after.{pain.after}"))
        answers = {"warm": pain.warm, "swollen": pain.swollen, "numbness": pain.numbness}
        words += self._yes_or_no("pain", answers)
        return ", ".join(filter(None, words))

    def _yes_or_no(self, about: str, answers: dict[str, bool | None]) -> Iterator[str]:
        """Say each answered question in words: ``warm``, ``not swollen``."""
        for name, answer in answers.items():
            if answer is not None:
                yield self._say(f"coach_why.{about}_{name}_{'yes' if answer else 'no'}")

    def _listing(self, reported: Iterable[One] | None, text: Callable[[One], str]) -> str | None:
        """List what was reported: "none" for an empty list, None where nothing was answered."""
        if reported is None:
            return None
        return "; ".join(map(text, reported)) or self._say("coach_why.none")

    def _bar_speed(self, speed: BarSpeed) -> Row:
        groups = (speed.pattern,) if speed.pattern else speed.muscle_groups
        label = self._say(
            "coach_why.input_bar_speed",
            what=", ".join(map(self._label, groups)),
            load=self._count(speed.load_kg),
        )
        return Row(label, self._count(speed.metres_per_second), "m/s", name="bar_speed")

    def _last_trained(self) -> Iterator[Row]:
        for group, last in self._check_in.last_trained.items():
            label = self._say("coach_why.input_last_trained", muscle_group=self._label(group))
            at = local_time(last.at, self._time_zone)
            yield Row(label, f"{self._label(last.goal)}, {at}", name=f"last_trained/{group}")

    def _plan(self) -> Iterator[Row]:
        for number, block in enumerate(self._check_in.plan, start=1):
            label = self._say("coach_why.input_block", number=number)
            yield Row(label, self._block(block), name=f"plan/{number - 1}")

    def _block(self, block: Block) -> str:
        groups = (block.pattern,) if block.pattern else block.muscle_groups
        counts = {
            "minutes": block.minutes,
            "sets": block.sets,
            "reps": block.reps,
            "rest_seconds": block.rest_seconds,
            "effort": block.effort,
            "reps_in_reserve": block.reps_in_reserve,
            "contacts": block.contacts,
            "sprint_metres": block.sprint_metres,
            "kilometres": block.kilometres,
        }
        answers = {
            "to_failure": block.to_failure,
            "new_exercise": block.new_exercise,
            "contact": block.contact,
            "indoors": block.indoors,
            "competition": block.competition,
        }
        words = [*map(self._label, (block.goal, *groups, block.modality or ""))]
        words += (
            self._say(f"coach_why.block_{name}", count=self._count(count))
            for name, count in counts.items()
            if count is not None
        )
        if block.action is not None:
            action = self._say(f"actions.{block.action}")
            words.append(self._say("coach_why.block_action", action=action))
        words += self._yes_or_no("block", answers)
        if block.starts_at is not None:
            words.append(local_time(block.starts_at, self._time_zone))
        return ", ".join(filter(None, words))
