"""Translation of a record's advice into another language (pure).

A record is composed in English and never changes. It holds the facts and the rules that fired, so
the same advice can be composed from it in any language that has a catalogue. Only the wording
differs: verdicts, rules, times, numbers and alternatives are the record's.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Self

from dawnrule.advice.blocks import BlockDecision
from dawnrule.advice.composer import Composer
from dawnrule.advice.explanation import subjects_of
from dawnrule.advice.options import PartOptions
from dawnrule.advice.sessions import why_allowed
from dawnrule.facts.derive import MorningFacts, PartFacts
from dawnrule.i18n.catalog import Texts
from dawnrule.model.advice import (
    Advice,
    Alternative,
    Change,
    Note,
    PartAdvice,
    RuleName,
    blocks_of,
)
from dawnrule.model.record import Record
from dawnrule.rules.evaluation.decision import DayDecision, Decision, day_decision, decision_of
from dawnrule.rules.rule_set import RuleSet
from dawnrule.rules.text import Wording

_NOTES = ("opens_after_clearance", "opens_unknown", "opens_with", "opens_from_with")
_EDGE = r"-?\d+(?:\.\d+)?(?:e[+-]?\d+)?"
_RANGE = rf"(?: (?P<range>(?:at least|at most|above|below) {_EDGE}))?"


def translate(record: Record, rule_set: RuleSet, composer: Composer) -> Advice:
    """Compose a record's advice in the composer's language; ``rule_set`` is the record's own."""
    advice = record.advice
    recorded_blocks = {block.block: block for block in advice.blocks}

    def sessions_of(decided: BlockDecision) -> tuple[Alternative, ...]:
        words, texts = composer.vocabulary, composer.texts
        return tuple(
            replace(one, because=why_allowed(one, decided.muscle_groups, words, texts))
            for one in recorded_blocks[decided.block].alternatives
        )

    is_by_block = rule_set.decides_by_block(composer.dictionary)
    composed = composer.compose(
        advice.advice_id,
        record.check_in,
        _morning(record),
        _decision(record, rule_set, is_by_block=is_by_block),
        _no_options,
        sessions_of,
        rule_set,
    )
    parts = tuple(
        _with_options(part, recorded, composer)
        if is_by_block
        else replace(_with_options(part, recorded, composer), alternatives=recorded.alternatives)
        for recorded, part in zip(advice.parts, composed.parts, strict=True)
    )
    return replace(
        composed,
        parts=parts,
        blocks=composed.blocks if is_by_block else blocks_of(parts),
        notes=tuple(_notes(advice.notes, composed.notes, rule_set, composer)),
        not_reported=advice.not_reported,
        rule_set=advice.rule_set,
    )


def in_todays_words(advice: Advice, texts: Texts) -> Advice:
    """Say English advice in the words of today; the texts must be English. What is said otherwise
    are sentences, so verdicts, rules, times and numbers stay."""
    say = texts.reworded
    parts = (
        replace(part, reason=say(part.reason), opens_note=part.opens_note and say(part.opens_note))
        for part in advice.parts
    )
    notes = (
        replace(note, rule=_renamed(note.rule, texts), caution=say(note.caution))
        for note in advice.notes
    )
    rule = advice.rule and _renamed(advice.rule, texts)
    return replace(
        advice,
        headline=advice.headline
        if advice.rule is None
        else advice.headline.replace(advice.rule.title, say(advice.rule.title)),
        rule=rule,
        reason=say(advice.reason),
        caution=say(advice.caution),
        parts=tuple(parts),
        notes=tuple(notes),
        blocks=tuple(replace(block, reason=say(block.reason)) for block in advice.blocks),
    )


def _renamed(rule: RuleName, texts: Texts) -> RuleName:
    return replace(rule, title=texts.reworded(rule.title))


def _morning(record: Record) -> MorningFacts:
    """Rebuild the facts of a record; no sentence needs the start of a part or what history
    lacked."""
    day, *parts = subjects_of(record)
    return MorningFacts(
        day.facts,
        tuple(
            PartFacts(of.block, of.goal, of.muscle_group, record.clock, part.facts, {})
            for part, of in zip(parts, record.advice.parts, strict=True)
        ),
    )


def _decision(record: Record, rule_set: RuleSet, *, is_by_block: bool) -> DayDecision:
    by_id = {rule.id: rule for rule in rule_set.rules}

    def decided(fired: Sequence[str]) -> Decision:
        return decision_of([by_id[identifier] for identifier in fired])

    parts = [decided(fired) for fired in record.fired.parts]
    blocks = [part.block for part in record.facts.parts] if is_by_block else None
    return day_decision(decided(record.fired.day), parts, rule_set.rules, blocks)


def _notes(
    notes: Iterable[Note], composed: Iterable[Note], rule_set: RuleSet, composer: Composer
) -> Iterator[Note]:
    """Translate the notes of the record and no others."""
    by_id = {rule.id: rule for rule in rule_set.rules}
    reasons = {note.rule.id: note.reason for note in composed}
    for note in notes:
        translated = composer.note(by_id[note.rule.id])
        yield replace(
            translated,
            caution=translated.caution if note.given_on is None else "",
            reason=None if note.reason is None else reasons.get(note.rule.id, note.reason),
            given_on=note.given_on,
        )


def _no_options(part: PartFacts, decision: Decision) -> PartOptions:
    """Leave the options to the record: to find them takes history, which a record lacks."""
    return PartOptions()


def _with_options(part: PartAdvice, recorded: PartAdvice, composer: Composer) -> PartAdvice:
    """Add the recorded options to a part, in the composer's language."""
    note, wording = recorded.opens_note, composer.wording
    return replace(
        part,
        opens_at=recorded.opens_at,
        opens_note=_translated_note(note, composer) if note else None,
        would_change=_changes(recorded.would_change, wording),
        would_change_together=_changes(recorded.would_change_together, wording),
    )


def _changes(changes: Iterable[Change], wording: Wording) -> tuple[Change, ...]:
    return tuple(replace(change, to=wording.range(change.to)) for change in changes)


def _translated_note(note: str, composer: Composer) -> str:
    """Translate what opens a part. The record holds an English sentence, which is parsed; one that
    cannot be put together again from what was parsed stays as it is."""
    english = Composer.of_records()
    parsed = (_Note.parse(name, note, english) for name in _NOTES)
    same = (one for one in parsed if one is not None and one.text(english) == note)
    return next((one.text(composer) for one in same), note)


@dataclass(frozen=True, slots=True)
class _Note:
    """A sentence of the catalogue on what opens a part, with its values."""

    name: str
    time: str
    needs: tuple[tuple[str, str], ...]

    @classmethod
    def parse(cls, name: str, note: str, english: Composer) -> Self | None:
        """Parse an English sentence; None if it is not the one of this name."""
        pieces = re.split(r"\{(time|changes)\}", english.texts.entries[name])
        pattern = "".join(
            f"(?P<{piece}>.+)" if place % 2 else re.escape(piece)
            for place, piece in enumerate(pieces)
        )
        found = re.fullmatch(pattern, note)
        if found is None:
            return None
        values = found.groupdict(default="")
        needs = _parsed_needs(values.get("changes", ""), english)
        return cls(name, values.get("time", ""), tuple(needs))

    def text(self, composer: Composer) -> str:
        """Say the sentence in the composer's language."""
        needs = [composer.wording.need(fact, to) for fact, to in self.needs]
        return composer.texts.say(self.name, time=self.time, changes=composer.texts.listing(needs))


def _parsed_needs(changes: str, english: Composer) -> Iterator[tuple[str, str]]:
    """Yield the needs that an English listing names: each a fact and what it would have to be."""
    facts = {fact.label: name for name, fact in english.dictionary.items()}
    longest_first = sorted(facts, key=len, reverse=True)
    labels = "|".join(map(re.escape, longest_first))
    for need in re.finditer(rf"(?P<no>no )?(?P<label>{labels}){_RANGE}", changes):
        to = need["range"] or str(not need["no"]).lower()
        yield facts[need["label"]], to
