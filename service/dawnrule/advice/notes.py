"""Selection of the notes of a morning: which are given, and which only named again (pure)."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import chain

from dawnrule.advice.blocks import BlockDecision
from dawnrule.facts.derive import MorningFacts
from dawnrule.model import FactDictionary, Facts, Verdict
from dawnrule.model.advice import BlockAdvice
from dawnrule.rules.evaluation.decision import DayDecision
from dawnrule.rules.rule_set import Rule


@dataclass(frozen=True, slots=True)
class FiredNote:
    """A note that fired, and the facts that it fired on."""

    rule: Rule
    facts: Facts


def notes_by_part(
    morning: MorningFacts, decision: DayDecision, dictionary: FactDictionary
) -> list[FiredNote]:
    """List each note that fired once, those of the day first. A note on how to train is left out
    where no such part is trained as planned; a note on pain always stays."""
    fired = [FiredNote(rule, morning.day) for rule in decision.day.fired if rule.is_note]
    for part, decided in zip(morning.parts, decision.parts, strict=True):
        trains = decided.verdict is Verdict.TRAIN
        fired += (
            FiredNote(rule, part.facts)
            for rule in decided.fired
            if rule.is_note and (trains or rule.is_stop(dictionary))
        )
    return _each_once(fired)


def notes_by_block(
    morning: MorningFacts,
    decision: DayDecision,
    decided: Sequence[BlockDecision],
    blocks: Sequence[BlockAdvice],
    dictionary: FactDictionary,
) -> list[FiredNote]:
    """List each note that fired once, those of the day first, without the notes on training where
    nothing is trained.

    On a day that rests by a rule on pain, illness or a warning sign, and for a block that rests,
    only notes on these are given. A note whose caution is that of the day's verdict is left out.
    """
    stopped = (
        decision.verdict is Verdict.REST
        and decision.deciding is not None
        and decision.deciding.is_stop(dictionary)
    )
    trains = decision.verdict is not Verdict.REST and any(block.is_trained for block in blocks)
    of_day = (
        FiredNote(rule, morning.day)
        for rule in decision.day.fired
        if rule.is_note
        and (rule.is_stop_note(dictionary) or (not stopped and _is_for(rule, trains)))
    )
    of_blocks = (
        note
        for block, advised in zip(decided, blocks, strict=True)
        for note in _of_block(block, advised, stopped, dictionary)
    )
    said = decision.deciding.caution if decision.deciding else None
    return _each_once(note for note in chain(of_day, of_blocks) if note.rule.caution != said)


def _of_block(
    block: BlockDecision, advised: BlockAdvice, stopped: bool, dictionary: FactDictionary
) -> Iterator[FiredNote]:
    rests = stopped or block.verdict is Verdict.REST
    trains = advised.is_trained
    for part, decided in zip(block.parts, block.decisions, strict=True):
        for rule in decided.fired:
            given = rule.is_stop_note(dictionary) or (not rests and _is_for(rule, trains))
            if rule.is_note and given and rule.scope == "part":
                yield FiredNote(rule, part.facts)


def _is_for(rule: Rule, trains: bool) -> bool:
    return trains or rule.told_when == "always"


def _each_once(fired: Iterator[FiredNote] | list[FiredNote]) -> list[FiredNote]:
    first: dict[Rule, FiredNote] = {}
    for note in fired:
        first.setdefault(note.rule, note)
    return list(first.values())
