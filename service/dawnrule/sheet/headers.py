"""Under which words may a column stand?"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import product
from typing import Any, Self

import yaml

from dawnrule.vocabulary.shipped import rules_folder

_BETWEEN_WORDS = re.compile(r"[\s_-]+")
_FILE_NAME = "sheet_columns.yaml"


def plain_name(header: str) -> str:
    """A header cell as column names are written: small letters, words joined by underscores."""
    composed = unicodedata.normalize("NFC", header)
    return _BETWEEN_WORDS.sub("_", composed.strip().lower())


@dataclass(frozen=True, slots=True)
class HeaderWords:
    """``rules/sheet_columns.yaml`` in memory; the keys there are the attributes here."""

    columns: Mapping[str, Sequence[str]]
    of_a_block: Mapping[str, Sequence[str]]
    of_the_first_block: Mapping[str, Sequence[str]]
    of_a_muscle_group: Mapping[str, Sequence[str]]
    muscle_groups: Mapping[str, Sequence[str]]
    never_unread: Mapping[str, Sequence[str]]
    own: str
    none: Sequence[str]
    of_cells: Mapping[str, Mapping[str, Sequence[str]]]

    @classmethod
    @cache
    def shipped(cls) -> Self:
        """The words that ship with the service."""
        text = (rules_folder() / _FILE_NAME).read_text(encoding="utf-8")
        plain: dict[str, Any] = yaml.safe_load(text)
        return cls(**plain)

    def of_column(self, name: str) -> Iterator[str]:
        """Those of a column that stands once in a sheet."""
        yield from (name, *self.columns.get(name, ()))

    def of_block_column(self, prefix: str, name: str) -> Iterator[str]:
        """Those of a block's column: ``plan2`` and ``goal``."""
        yield from (f"{prefix}_{word}" for word in (name, *self.of_a_block.get(name, ())))

    def of_first_block_column(self, name: str) -> Iterator[str]:
        """Those of the first block's column with nothing before them: ``ziel``."""
        yield from self.of_the_first_block.get(name, ())

    def of_muscle_group_column(self, name: str, group: str) -> Iterator[str]:
        """Those of a muscle group's column: ``soreness`` and ``quadriceps``."""
        pairs = product(self.of_a_muscle_group[name], self.of_muscle_group(group))
        yield from (pattern.format(word) for pattern, word in pairs)

    def of_muscle_group(self, group: str) -> Iterator[str]:
        """Those of a muscle group itself, the first its own name."""
        yield from (plain_name(group), *self.muscle_groups.get(group, ()))
