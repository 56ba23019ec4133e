"""How is a sentence said before it is known who reads it, and in which language?"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import Any, Self

from dawnrule.errors import DawnruleError
from dawnrule.vocabulary.texts import Texts


class Said(str):
    """A sentence in English that can be told in every language: ``tell`` says it by a catalogue.

    A copy, and whatever is put together from it as text, is English alone.
    """

    tell: Callable[[Texts], str]

    def __new__(cls, tell: Callable[[Texts], str]) -> Self:
        """What ``tell`` says by the English catalogue."""
        said = super().__new__(cls, tell(Texts.shipped()))
        said.tell = tell
        return said

    def __reduce__(self) -> tuple[type[str], tuple[str]]:
        """The text; how it is told cannot leave the process."""
        return str, (str(self),)


def say(name: str, /, **values: object) -> Said:
    """A sentence of the catalogue, filled in; values may be said themselves. Raises ``KeyError``
    as ``Texts.say`` does."""

    def tell(texts: Texts) -> str:
        return texts.say(name, **{place: told(value, texts) for place, value in values.items()})

    return Said(tell)


def say_number(value: float) -> Said:
    """A number as short as it can be, with the decimal mark of each language."""
    return Said(lambda texts: texts.number(f"{value:g}"))


def say_all(parts: Iterable[str], between: str = " ") -> Said:
    """One behind the other, with the same between each."""
    kept = list(parts)
    return Said(lambda texts: told(between, texts).join(told(part, texts) for part in kept))


def say_list(words: Sequence[str]) -> Said:
    """``chest, lats and biceps``."""
    return Said(lambda texts: texts.listing(words))


def told(value: Any, texts: Texts) -> Any:
    """What was said, in the language of a catalogue; all else as it is."""
    return value.tell(texts) if isinstance(value, Said) else value


def error_told(error: DawnruleError, texts: Texts) -> DawnruleError:
    """An error with its detail and its faults in the language of a catalogue; what was not said
    from one stays as it is. Not for errors that are made of more than these two."""
    faults = [replace(fault, detail=told(fault.detail, texts)) for fault in error.errors]
    return type(error)(told(error.detail, texts), faults)
