"""Words that coaches use in headers and cells besides those of ``columns``."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any, Self

from dawnrule.i18n.resources import read_data, rules_folder
from dawnrule.sheet.columns import HeaderWords, plain_name

_FILE_NAME = "sheet_words.yaml"
_AT_THE_END = re.compile(r"[\s?:.!*]+\Z")
_CURLY = "\N{RIGHT SINGLE QUOTATION MARK}"
_IN_A_WORD = re.compile(r"[^\W_]+(?:'[^\W_]+)*")


def plain_word(text: str) -> str:
    """Write a header or a cell as words are compared, without the mark at its end."""
    return plain_name(_AT_THE_END.sub("", text).replace(_CURLY, "'"))


def words_of(text: str) -> list[str]:
    """Return the single words of a text, in small letters."""
    return _IN_A_WORD.findall(text.casefold().replace(_CURLY, "'"))


@dataclass(frozen=True)
class Region:
    """A part of the body that stands for muscle groups, and the words for it."""

    id: str
    words: tuple[str, ...]
    muscle_groups: tuple[str, ...]


@dataclass(frozen=True)
class SheetWords:
    """``rules/sheet_words.yaml`` in memory; the keys there are the attributes here."""

    regions: Mapping[str, Mapping[str, Sequence[str]]]
    of_soreness: Sequence[str]
    columns: Mapping[str, Mapping[str, Sequence[str]]]
    ways: Mapping[str, Sequence[str]]
    sign_columns: Mapping[str, Sequence[str]]
    illness_columns: Mapping[str, Sequence[str]]
    cells: Mapping[str, Mapping[str, Sequence[str]]]
    none: Sequence[str]
    no_pain: Sequence[str]
    as_before: Sequence[str]
    day_off: Sequence[str]
    totals: Sequence[str]
    pain_in_comments: Sequence[str]
    # ``not`` in the file: words that turn what follows them round
    turning: Sequence[str]
    for_people: Sequence[str]
    body_temperature: Mapping[str, Any]
    joints: Sequence[str]
    sides: Mapping[str, Sequence[str]]
    sharp: Sequence[str]
    could_tell: Sequence[Mapping[str, Any]]
    could_tell_of_training: Sequence[str]
    harmless: Sequence[str]
    months: Mapping[int, Sequence[str]]

    @classmethod
    @cache
    def bundled(cls) -> Self:
        """Load the words that ship with the service."""
        data = read_data(rules_folder() / _FILE_NAME)
        return cls(**{"turning" if key == "not" else key: value for key, value in data.items()})

    @cached_property
    def every_region(self) -> Mapping[str, Region]:
        """Return the regions by their ids."""
        return {
            name: Region(name, tuple(found["words"]), tuple(found["muscle_groups"]))
            for name, found in self.regions.items()
        }

    @cached_property
    def groups_by_word(self) -> Mapping[str, tuple[str, ...]]:
        """Map each word for a region or a muscle group to the muscle groups that it stands for."""
        of_regions = {
            word: region.muscle_groups
            for region in self.every_region.values()
            for word in region.words
        }
        of_groups = {
            word: (group,)
            for group in HeaderWords.bundled().muscle_groups
            for word in HeaderWords.bundled().of_muscle_group(group)
        }
        return of_regions | of_groups

    @cached_property
    def month_by_word(self) -> Mapping[str, int]:
        """Map each name of a month to its number."""
        return {word: month for month, words in self.months.items() for word in words}

    def is_none(self, text: str) -> bool:
        """Tell whether a text says that there is nothing, in more words than those of headers."""
        return plain_word(text) in self.none or text.strip() in self.none

    def is_no_pain(self, text: str) -> bool:
        """Tell whether a text in the place of a pain says that there is none."""
        return plain_word(text) in self.no_pain

    def is_day_off(self, text: str) -> bool:
        """Tell whether a text in the place of a goal says that nothing is planned."""
        return plain_word(text) in self.day_off

    def of_cells(self, list_name: str, identifier: str) -> Sequence[str]:
        """Return more words for an id of one of the vocabulary's lists."""
        return self.cells.get(list_name, {}).get(identifier, ())

    def soreness_headers(self, words: Sequence[str]) -> Iterator[str]:
        """Yield the headers under which soreness of a region stands."""
        yield from (pattern.format(word) for pattern in self.of_soreness for word in words)
