"""Policy of advice beyond the rules: repetition of notes, and amounts of alternatives (pure)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Self

from dawnrule.i18n.resources import rules_folder
from dawnrule.model import FactDictionary, Facts
from dawnrule.rules.evaluation.evaluator import Predicate, predicate
from dawnrule.rules.loading.condition_parser import ConditionReader
from dawnrule.rules.loading.yaml_reader import YamlSource, read_yaml


@dataclass(frozen=True, slots=True)
class EasySession:
    """A session that loads little: its goal, and minutes and effort (CR10) at the most."""

    goal: str
    minutes: int
    effort: float


@dataclass(frozen=True, slots=True)
class AsAdvised:
    """How far what was done may be from what was advised and still count as that: percent of
    minutes and sets, and points of effort (CR10) above."""

    within_percent: float
    effort_above: float


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Ways of training that are left out where a condition holds; None stands for all of them."""

    modalities: frozenset[str] | None
    holds: Predicate


@dataclass(frozen=True, slots=True)
class AdvicePolicy:
    """``rules/advice.yaml`` in memory. A note is only named for ``name_only_for_days`` after it was
    given in full."""

    name_only_for_days: int
    easy: EasySession
    mobility: EasySession
    as_advised: AsAdvised
    left_out: tuple[LeftOut, ...]

    @classmethod
    @cache
    def bundled(cls) -> Self:
        """Load the file that ships with the service."""
        return cls.from_file(rules_folder() / "advice.yaml", FactDictionary.bundled())

    @classmethod
    def from_file(cls, file: Path, dictionary: FactDictionary) -> Self:
        """Read a file of the form of ``rules/advice.yaml``. Raises ``ConditionInvalid`` for
        a condition that cannot be used."""
        source = read_yaml(file.read_text(encoding="utf-8"), file.name)
        return cls(
            name_only_for_days=source.data["name_only_for_days"],
            easy=EasySession(**source.data["easy"]),
            mobility=EasySession(**source.data["mobility"]),
            as_advised=AsAdvised(**source.data["as_advised"]),
            left_out=tuple(
                _left_out(source, dictionary, entry, f"/left_out/{index}")
                for index, entry in enumerate(source.data["left_out"])
            ),
        )

    def leaves_out(self, modality: str, facts: Facts) -> bool:
        """Tell whether a way of training is left out, by the facts of it for one muscle group."""
        return any(
            one.holds(facts)
            for one in self.left_out
            if one.modalities is None or modality in one.modalities
        )


def _left_out(
    source: YamlSource, dictionary: FactDictionary, entry: Mapping[str, Any], pointer: str
) -> LeftOut:
    when = ConditionReader(source, dictionary, "part", {}).read(entry["when"], f"{pointer}/when")
    modalities = frozenset(entry["modalities"]) if "modalities" in entry else None
    return LeftOut(modalities, predicate(when))
