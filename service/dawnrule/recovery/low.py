"""What counted as low where the end of soreness was seen, and how that is said."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

from dawnrule.i18n.catalog import Texts
from dawnrule.recovery.episodes import Episode


@dataclass(frozen=True, slots=True)
class Low:
    """Soreness under the limit of a kind of goal, or ``usual``: the highest own usual (0 to 10)
    that ended an episode, None where none did. ``is_only_usual`` says that soreness was never
    under the limit; ``of_others`` that own usuals of others counted too."""

    usual: float | None = None
    is_only_usual: bool = False
    of_others: bool = False

    @classmethod
    def of(cls, episodes: Sequence[Episode]) -> Self:
        """Collect what ended the episodes whose end was seen."""
        ends = [one.usual for one in episodes if one.was_seen]
        usuals = [usual for usual in ends if usual is not None]
        return cls(max(usuals, default=None), bool(usuals) and len(usuals) == len(ends))

    def words(self, texts: Texts, limit: float) -> str:
        """Say it: "under 3", "back to the usual 4", or either."""
        said = {"limit": _number(limit, texts)}
        if self.of_others:
            return texts.say("recovery.low_own_usual", **said)
        if self.usual is None:
            return texts.say("recovery.low_under", **said)
        name = "low_usual" if self.is_only_usual else "low_either"
        return texts.say(f"recovery.{name}", usual=_number(self.usual, texts), **said)


def _number(number: float, texts: Texts) -> str:
    return texts.number(f"{number:g}")
