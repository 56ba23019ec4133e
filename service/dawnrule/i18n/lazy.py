"""Lazy text: a sentence that is rendered once its reader's language is known."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import Any, Self

from dawnrule.errors import DawnruleError
from dawnrule.i18n.catalog import Texts


class LazyText(str):
    """A sentence in English that can be told in every language: ``tell`` says it by a catalogue.

    A copy, and whatever is put together from it as text, is English alone.
    """

    tell: Callable[[Texts], str]

    def __new__(cls, tell: Callable[[Texts], str]) -> Self:
        """What ``tell`` says by the English catalogue."""
        said = super().__new__(cls, tell(Texts.bundled()))
        said.tell = tell
        return said

    def __reduce__(self) -> tuple[type[str], tuple[str]]:
        """The text; how it is told cannot leave the process."""
        return str, (str(self),)


def lazy(name: str, /, **values: object) -> LazyText:
    """A sentence of the catalogue, filled in; values may be said themselves. Raises ``KeyError``
    as ``Texts.say`` does."""

    def tell(texts: Texts) -> str:
        return texts.say(name, **{place: render(value, texts) for place, value in values.items()})

    return LazyText(tell)


def lazy_number(value: float) -> LazyText:
    """A number as short as it can be, with the decimal mark of each language."""
    return LazyText(lambda texts: texts.number(f"{value:g}"))


def lazy_join(parts: Iterable[str], between: str = " ") -> LazyText:
    """One behind the other, with the same between each."""
    kept = list(parts)
    return LazyText(lambda texts: render(between, texts).join(render(part, texts) for part in kept))


def lazy_list(words: Sequence[str]) -> LazyText:
    """``chest, lats and biceps``."""
    return LazyText(lambda texts: texts.listing([render(word, texts) for word in words]))


def render(value: Any, texts: Texts) -> Any:
    """What was said, in the language of a catalogue; all else as it is."""
    return value.tell(texts) if isinstance(value, LazyText) else value


def render_error(error: DawnruleError, texts: Texts) -> DawnruleError:
    """An error with its detail and its faults in the language of a catalogue; what was not said
    from one stays as it is. Not for errors that are made of more than these two."""
    faults = [replace(fault, detail=render(fault.detail, texts)) for fault in error.errors]
    return type(error)(render(error.detail, texts), faults)
