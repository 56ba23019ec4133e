"""Which sentences does the service itself say?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, Self

import yaml

from dawnrule.vocabulary.shipped import rules_folder


@dataclass(frozen=True, slots=True)
class Texts:
    """The catalogue ``rules/texts/<language>.yaml`` in memory."""

    entries: Mapping[str, Any]

    @classmethod
    @cache
    def shipped(cls, language: str = "en") -> Self:
        """The catalogue of a language that ships with the service."""
        file = rules_folder() / "texts" / f"{language}.yaml"
        return cls(yaml.safe_load(file.read_text(encoding="utf-8")))

    def say(self, name: str, **values: object) -> str:
        """The sentence of a name, filled in."""
        sentence: str = self.entries[name]
        return sentence.format_map(values)

    def operator(self, word: str) -> str:
        """How an operator of the rule files is said."""
        said: str = self.entries["operators"][word]
        return said

    def listing(self, words: Sequence[str]) -> str:
        """``chest``, ``chest and lats``, ``chest, lats and biceps``."""
        if len(words) < 2:
            return "".join(words)
        return self.say("pair", first=", ".join(words[:-1]), last=words[-1])
