"""How does recorded advice read in another language? (pure)

A record is composed in English and never changes. It holds the facts and the rules that fired, so
with its rule set the same advice can be told in any language that has a catalogue. Only how it is
said differs: verdicts, rules, times, numbers and alternatives are the record's.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Self

from dawnrule.advice.composer import Composer
from dawnrule.advice.explanation import subjects_of
from dawnrule.advice.options import PartOptions
from dawnrule.facts.derive import MorningFacts, PartFacts
from dawnrule.i18n.catalog import ENGLISH
from dawnrule.model.advice import advice_to_json, note_to_json
from dawnrule.model.entities import CheckIn
from dawnrule.model.serialization import from_json
from dawnrule.rules.evaluation.decision import DayDecision, Decision, day_decision, decision_of
from dawnrule.rules.rule_set import RuleSet
from dawnrule.rules.text import Wording

Plain = Mapping[str, Any]

_NOTES = ("opens_after_clearance", "opens_unknown", "opens_with", "opens_from_with")
_EDGE = r"-?\d+(?:\.\d+)?(?:e[+-]?\d+)?"
_RANGE = rf"(?: (?P<range>(?:at least|at most|above|below) {_EDGE}))?"


def translate(record: Plain, rule_set: RuleSet, composer: Composer) -> dict[str, Any]:
    """The advice of a record, told again by a composer; ``rule_set`` is the record's own."""
    advice: dict[str, Any] = record["advice"]
    check_in = from_json(CheckIn, record["check_in"])
    composed = composer.compose(
        advice["advice_id"],
        check_in,
        _morning(record),
        _decision(record, rule_set),
        _no_options,
        rule_set,
    )
    told = advice_to_json(composed)
    parts = zip(advice["parts"], told["parts"], strict=True)
    return told | {
        "parts": [part | _options_told(recorded, composer) for recorded, part in parts],
        "notes": _notes_told(advice["notes"], rule_set, composer),
        "not_reported": advice["not_reported"],
        "rule_set": advice["rule_set"],
    }


def _morning(record: Plain) -> MorningFacts:
    """The facts of a record. When a part starts, and what history lacked, no sentence tells."""
    clock = datetime.fromisoformat(record["clock"])
    day, *parts = subjects_of(record)
    goals = (part["goal"] for part in record["advice"]["parts"])
    return MorningFacts(
        day.facts,
        tuple(
            PartFacts(part.block or 0, goal, part.muscle_group, clock, part.facts, {})
            for part, goal in zip(parts, goals, strict=True)
        ),
    )


def _decision(record: Plain, rule_set: RuleSet) -> DayDecision:
    by_id = {rule.id: rule for rule in rule_set.rules}

    def decided(fired: Sequence[str]) -> Decision:
        return decision_of([by_id[identifier] for identifier in fired])

    fired = record["fired"]
    return day_decision(
        decided(fired["day"]), [decided(part) for part in fired["parts"]], rule_set.rules
    )


def _notes_told(
    notes: Sequence[Plain], rule_set: RuleSet, composer: Composer
) -> list[dict[str, Any]]:
    """The notes of the record and no others, in the composer's words."""
    by_id = {rule.id: rule for rule in rule_set.rules}
    told = (composer.note(by_id[note["rule"]["id"]]) for note in notes)
    return [note_to_json(note) for note in told]


def _no_options(part: PartFacts, decision: Decision) -> PartOptions:
    """They are the record's: finding them takes the history, which a record does not hold."""
    return PartOptions()


def _options_told(part: Plain, composer: Composer) -> dict[str, Any]:
    """What was found beyond the verdict on a part, in the composer's words."""
    note = part["opens_note"]
    return {
        "opens_at": part["opens_at"],
        "opens_note": _note_told(note, composer) if note else None,
        "would_change": _changes_told(part["would_change"], composer.wording),
        "would_change_together": _changes_told(part["would_change_together"], composer.wording),
        "alternatives": part["alternatives"],
    }


def _changes_told(changes: Sequence[Plain], wording: Wording) -> list[dict[str, Any]]:
    return [{**change, "to": wording.range(change["to"])} for change in changes]


def _note_told(note: str, composer: Composer) -> str:
    """What opens a part, in the composer's words. The record has it as an English sentence, which
    is taken apart; where that does not lead back to the very same sentence, it stays."""
    english = Composer.bundled(ENGLISH)
    heard = (_Note.heard(name, note, english) for name in _NOTES)
    same = (one for one in heard if one is not None and one.said(english) == note)
    return next((one.said(composer) for one in same), note)


@dataclass(frozen=True, slots=True)
class _Note:
    """A sentence of the catalogue about what opens a part, and what it is filled with."""

    name: str
    time: str
    needs: tuple[tuple[str, str], ...]

    @classmethod
    def heard(cls, name: str, note: str, english: Composer) -> Self | None:
        """What an English sentence says if it is that of this name."""
        pieces = re.split(r"\{(time|changes)\}", english.texts.entries[name])
        pattern = "".join(
            f"(?P<{piece}>.+)" if place % 2 else re.escape(piece)
            for place, piece in enumerate(pieces)
        )
        found = re.fullmatch(pattern, note)
        if found is None:
            return None
        said = found.groupdict(default="")
        return cls(name, said.get("time", ""), tuple(_needs_in(said.get("changes", ""), english)))

    def said(self, composer: Composer) -> str:
        """The sentence in a composer's words."""
        needs = [composer.wording.need(fact, to) for fact, to in self.needs]
        return composer.texts.say(self.name, time=self.time, changes=composer.texts.listing(needs))


def _needs_in(changes: str, english: Composer) -> Iterator[tuple[str, str]]:
    """The needs that an English listing names, as facts and what they would have to be."""
    facts = {fact.label: name for name, fact in english.dictionary.items()}
    longest_first = sorted(facts, key=len, reverse=True)
    labels = "|".join(map(re.escape, longest_first))
    for need in re.finditer(rf"(?P<no>no )?(?P<label>{labels}){_RANGE}", changes):
        to = need["range"] or str(not need["no"]).lower()
        yield facts[need["label"]], to
