"""Who is in the squad of the demo, and how do their weeks look?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import time
from functools import cache
from pathlib import Path
from typing import Any, Self

import yaml

from dawnrule.facts.check_in import Athlete, Block
from dawnrule.facts.plain import from_plain


@dataclass(frozen=True, slots=True)
class Persona:
    """An invented athlete. ``week`` holds a day's blocks by days ago, today first, and repeats;
    ``reported`` what a morning's check-in says besides, by days ago."""

    athlete: Athlete
    usual: Mapping[str, float]
    week: tuple[tuple[Block, ...], ...]
    reported: Mapping[int, Mapping[str, Any]]

    def blocks(self, days_ago: int) -> tuple[Block, ...]:
        """What is planned for a day."""
        return self.week[days_ago % len(self.week)]


@dataclass(frozen=True, slots=True)
class Squad:
    """``squad.yaml`` in memory; the comments there say what each thing means."""

    personas: tuple[Persona, ...]
    seed: str
    mornings: int
    checks_in_at: time
    trains_at: time
    soreness_after: Mapping[str, tuple[float, ...]]
    effort: Mapping[str, float]
    strays: Mapping[str, float]

    @classmethod
    @cache
    def invented(cls) -> Self:
        """The squad that ships with the service."""
        text = Path(__file__).with_name("squad.yaml").read_text(encoding="utf-8")
        data = yaml.safe_load(text)
        blocks = {name: from_plain(Block, plain) for name, plain in data["blocks"].items()}
        return cls(
            personas=tuple(_persona(entry, data["usual"], blocks) for entry in data["athletes"]),
            seed=data["seed"],
            mornings=data["mornings"],
            checks_in_at=time.fromisoformat(data["checks_in_at"]),
            trains_at=time.fromisoformat(data["trains_at"]),
            soreness_after={kind: tuple(sore) for kind, sore in data["soreness_after"].items()},
            effort=data["effort"],
            strays=data["strays"],
        )


def _persona(
    entry: Mapping[str, Any], usual: Mapping[str, float], blocks: Mapping[str, Block]
) -> Persona:
    return Persona(
        athlete=from_plain(Athlete, entry["athlete"]),
        usual={**usual, **entry["usual"]},
        week=tuple(tuple(blocks[name] for name in day) for day in entry["week"]),
        reported=entry.get("reported", {}),
    )
