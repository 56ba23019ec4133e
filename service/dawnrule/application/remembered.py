"""Pure steps of a use case that are not done again when its transaction is tried again."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Protocol, TypeVar

R = TypeVar("R")


class Steps(Protocol):
    """How the pure steps of a use case are done."""

    def do(self, name: str, step: Callable[..., R], *given: Any) -> R:
        """Do the step of a name with what it is given."""


class EachTime:
    """Steps that are done each time."""

    def do(self, _: str, step: Callable[..., R], *given: Any) -> R:
        """Do a step."""
        return step(*given)


class Remembered:
    """Steps that are done again only where they are given something else than the last time: what
    somebody else changed meanwhile is noticed by that, whatever it is."""

    def __init__(self) -> None:
        self._done: dict[str, tuple[tuple[Any, ...], Any]] = {}

    def do(self, name: str, step: Callable[..., R], *given: Any) -> R:
        """Do a step, unless what it gave the last time still holds."""
        before = self._done.get(name)
        if before is None or before[0] != given:
            before = self._done[name] = (given, step(*given))
        result: R = before[1]
        return result
