"""How are many things posted at once answered: each for itself, or all or none?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import TypeAlias, TypeVar

from dawnrule.advice.morning import Answer
from dawnrule.errors import DawnruleError, FieldError, InvalidInput
from dawnrule.facts.check_in import CheckIn
from dawnrule.store import Books, Store
from dawnrule.vocabulary.said import say

T = TypeVar("T")
A = TypeVar("A")

Entry: TypeAlias = CheckIn | DawnruleError
"""A check-in, or what is wrong with what should have been one."""

Outcome: TypeAlias = Answer | DawnruleError | None
"""The answer, the error that stands against one, or None: nothing wrong, yet not stored."""

PER_TRANSACTION = 50
"""How many are stored at a time, so that others who want to write need not wait for all."""


class _Spoiled(Exception):
    """At least one of all cannot be stored, so none is."""


def answer_each(
    store: Store, entries: Sequence[T | DawnruleError], answer: Callable[[Books, T], A]
) -> list[A | DawnruleError | None]:
    """Store all that can be stored; the outcomes are in the order of the entries.

    ``answer`` answers one inside a transaction; what it raises, it raises before it writes.
    """
    outcomes: list[A | DawnruleError | None] = []
    for start in range(0, len(entries), PER_TRANSACTION):
        some = entries[start : start + PER_TRANSACTION]
        outcomes += store.write(partial(_outcomes, entries=some, answer=answer))
    return outcomes


def answer_all_or_none(
    store: Store, entries: Sequence[T | DawnruleError], answer: Callable[[Books, T], A]
) -> list[A | DawnruleError | None]:
    """Store all in one transaction, or nothing when one of them cannot be stored."""
    outcomes: list[A | DawnruleError | None] = []

    def job(books: Books) -> None:
        outcomes[:] = _outcomes(books, entries, answer)
        if any(isinstance(outcome, DawnruleError) for outcome in outcomes):
            raise _Spoiled

    try:
        store.write(job)
    except _Spoiled:
        return [o if isinstance(o, DawnruleError) else None for o in outcomes]
    return outcomes


def without_contradictions(entries: Sequence[Entry]) -> list[Entry]:
    """The entries, save those that say different things of one athlete's same date: which of
    them holds cannot be told, so none does."""
    first: dict[tuple[str, str], CheckIn] = {}
    contradicted = set()
    for entry in entries:
        if isinstance(entry, CheckIn) and first.setdefault(_subject(entry), entry) != entry:
            contradicted.add(_subject(entry))
    return [
        _contradiction(entry)
        if isinstance(entry, CheckIn) and _subject(entry) in contradicted
        else entry
        for entry in entries
    ]


def _outcomes(
    books: Books, entries: Sequence[T | DawnruleError], answer: Callable[[Books, T], A]
) -> list[A | DawnruleError | None]:
    return [_outcome(books, entry, answer) for entry in entries]


def _outcome(
    books: Books, entry: T | DawnruleError, answer: Callable[[Books, T], A]
) -> A | DawnruleError:
    if isinstance(entry, DawnruleError):
        return entry
    try:
        return answer(books, entry)
    except DawnruleError as error:
        return error


def _subject(check_in: CheckIn) -> tuple[str, str]:
    return check_in.athlete_id, check_in.date.isoformat()


def _contradiction(check_in: CheckIn) -> InvalidInput:
    day = check_in.date.isoformat()
    detail = say("field.once_or_the_same", athlete=check_in.athlete_id)
    return InvalidInput(
        say("field.two_check_ins", athlete=check_in.athlete_id, day=day),
        [FieldError("/date", day, detail)],
    )
