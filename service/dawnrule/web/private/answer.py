"""The advice as an athlete reads it: what to do first, then why."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import Self

from dawnrule.advice.summary import (
    block_name,
    first_sentence,
    session_text,
    session_with_reason,
    unanswered_questions,
)
from dawnrule.i18n.catalog import capital
from dawnrule.model import Verdict
from dawnrule.model.advice import Advice, Alternative, BlockAdvice, PartAdvice
from dawnrule.model.entities import CheckIn
from dawnrule.web.http.locale import composer, dated, decided_by_block, label, say, texts


def time_text(at: datetime, today: date) -> str:
    """Write a local time, with its day when that is another."""
    return at.strftime("%H:%M") if at.date() == today else dated(at)


@dataclass(frozen=True, slots=True)
class PartSummary:
    """One part of the advice in words; texts that repeat those of the day are empty."""

    name: str
    verdict: str
    reason: str
    caution: str
    opens: str
    instead: str

    @classmethod
    def of(cls, part: PartAdvice, day: Advice) -> Self:
        """Summarise one part of a day's advice."""
        group, goal = part.muscle_group, label(part.goal)
        opens = part.opens_note or ""
        if part.opens_at:
            opens = say("phone.opens_at", time=time_text(part.opens_at, day.date))
        return cls(
            name=f"{capital(label(group))}, {goal}" if group else goal,
            verdict=label(part.verdict),
            reason=part.reason if part.reason != day.reason else "",
            caution="" if day.caution.startswith(part.caution) else part.caution,
            opens="" if part.verdict is Verdict.TRAIN else opens,
            instead=texts().listing([_alternative(one) for one in part.alternatives]),
        )


@dataclass(frozen=True, slots=True)
class BlockSummary:
    """One block of the advice in words; a reason that repeats that of the day is empty, and
    ``sessions`` are the choices besides the one that is said first of all."""

    name: str
    verdict: str
    reason: str
    limits: str
    sessions: tuple[str, ...]

    @classmethod
    def of(cls, block: BlockAdvice, day: Advice) -> Self:
        """Summarise one block of a day's advice."""
        words = composer()
        sessions = block.alternatives[int(_says_sessions(day)) :]
        limits = texts().listing(block.limits_said)
        return cls(
            name=capital(block_name(block, words)),
            verdict=words.verdict_label(block.verdict, (block,)),
            reason=block.reason if block.reason != day.reason else "",
            limits=say("alternative.limits", limits=limits) if limits and block.is_trained else "",
            sessions=tuple(session_with_reason(one, words) for one in sessions),
        )


@dataclass(frozen=True, slots=True)
class Answer:
    """The advice on a check-in. ``first`` are the lines that come before all else; with warning
    signs they say what to do now, and nothing is said of the plan."""

    first: tuple[str, ...]
    signs: tuple[str, ...]
    headline: str
    reason: str
    caution: str
    notes: tuple[str, ...]
    unanswered: str
    blocks: tuple[BlockSummary, ...]
    parts: tuple[PartSummary, ...]

    @classmethod
    def of(cls, advice: Advice, check_in: CheckIn) -> Self:
        """Put advice into words, in the language of this request."""
        unanswered = unanswered_questions(advice, composer())
        caution = advice.caution.removesuffix(unanswered).rstrip()
        if check_in.warning_signs and advice.verdict is Verdict.REST:
            return cls._of_signs(caution, check_in.warning_signs)
        trains_unasked = advice.verdict is Verdict.TRAIN and bool(advice.parts and unanswered)
        first = (unanswered,) if trains_unasked else tuple(_to_do(advice))
        by_block = decided_by_block(advice)
        return cls(
            first=first or (advice.headline,),
            signs=(),
            headline=advice.headline if first else "",
            reason=advice.reason,
            caution=caution,
            notes=tuple(note.caution or note.rule.title for note in advice.notes),
            unanswered="" if trains_unasked else unanswered,
            blocks=tuple(BlockSummary.of(one, advice) for one in advice.blocks if by_block),
            parts=() if by_block else tuple(PartSummary.of(one, advice) for one in advice.parts),
        )

    @classmethod
    def _of_signs(cls, caution: str, signs: tuple[str, ...]) -> Self:
        first = first_sentence(caution)
        return cls(
            first=(first,),
            signs=tuple(say(f"warning_signs.{sign}") for sign in signs),
            headline="",
            reason="",
            caution=" ".join(caution.split()).removeprefix(first).strip(),
            notes=(),
            unanswered="",
            blocks=(),
            parts=(),
        )


def _says_sessions(advice: Advice) -> bool:
    """Tell whether what to do is said first, block by block."""
    return advice.verdict is Verdict.SWAP and any(one.has_sessions for one in advice.blocks)


def _to_do(advice: Advice) -> Iterator[str]:
    """Say of each block of a day that is neither all as planned nor all rest what to do, with the
    sets or minutes; nothing for advice from before blocks had sessions."""
    if not _says_sessions(advice):
        return
    words = composer()
    for block in advice.blocks:
        name, session = block_name(block, words), next(iter(block.alternatives), None)
        if block.limits and block.is_trained:
            limits = texts().listing(block.limits_said)
            yield say("phone.do.less", what=capital(name), limits=limits)
        elif block.verdict is Verdict.TRAIN:
            yield say("phone.do.as_planned", what=capital(name))
        elif session is not None:
            yield say("phone.do.instead", what=name, session=session_text(session, words))
        else:
            yield say("phone.do.rest", what=capital(name))


def _alternative(alternative: Alternative) -> str:
    """Describe an alternative of the first edition: a modality, or a goal by another pattern or for
    another muscle group."""
    if alternative.modality:
        return label(alternative.modality)
    goal = label(alternative.goal or "")
    if alternative.pattern:
        return say("phone.instead_pattern", goal=goal, pattern=label(alternative.pattern))
    group = label(alternative.muscle_group or "")
    return say("phone.instead_goal", goal=goal, muscle_group=group)
