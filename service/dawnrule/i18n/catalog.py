"""Which sentences does the service itself say, and in which languages?"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any, Self

import yaml

from dawnrule.i18n.resources import rules_folder

_DIGITS = re.compile(r"\d+")

ENGLISH = "en"
"""The language that records are composed in, and that speaks where no other is asked for."""


@dataclass(frozen=True, slots=True)
class Texts:
    """The catalogue ``rules/texts/<language>.yaml`` in memory.

    ``entries`` maps names to sentences; a sentence inside a section has the section's name, a
    dot and its own: ``operators.below``. ``from_english`` maps what rule files, records and
    proofs say in English to the same in this language; it is empty for English.
    """

    entries: Mapping[str, str]
    from_english: Mapping[str, str] = field(default_factory=dict)

    @classmethod
    @cache
    def bundled(cls, language: str = ENGLISH) -> Self:
        """The catalogue of a language that ships with the service."""
        texts = cls.from_file(_folder() / f"{language}.yaml")
        if language == ENGLISH:
            return texts
        pairs = yaml.safe_load(_from_english(language).read_text(encoding="utf-8"))
        return replace(texts, from_english={pair[ENGLISH]: pair[language] for pair in pairs})

    @classmethod
    def from_file(cls, file: Path) -> Self:
        """Read a catalogue. Raises ``TypeError`` for a name or a sentence that is no text, as
        YAML makes of an unquoted ``yes``."""
        return cls(dict(_sentences(yaml.safe_load(file.read_text(encoding="utf-8")))))

    def say(self, name: str, /, **values: object) -> str:
        """The sentence of a name, filled in. Raises ``KeyError`` for a name or a value that is
        missing."""
        return self.entries[name].format_map(values)

    def section(self, name: str) -> dict[str, str]:
        """The sentences of a section by their names in it; empty where there is none."""
        within = f"{name}."
        return {n.removeprefix(within): s for n, s in self.entries.items() if n.startswith(within)}

    def of_rule(self, english: str) -> str:
        """What a rule file says, in this language; in English where it was never translated.

        It is looked up by the English text itself. So a text that was changed, and one of a
        coach's own, is told as it was written, and never in another's words.
        """
        if not self.from_english:
            return english
        return self.from_english.get(" ".join(english.split()), english)

    def of_record(self, english: str) -> str:
        """What a record says, in this language; numbers in it are carried over in their order."""
        said = self.from_english.get(_DIGITS.sub("{}", english))
        return said.format(*_DIGITS.findall(english)) if said else english

    def number(self, said: str) -> str:
        """A number that is written with a point, as this language writes it."""
        return said.replace(".", self.decimal_mark)

    @property
    def language(self) -> str:
        """The language's two letters (ISO 639-1)."""
        return self.entries["language"]

    @property
    def decimal_mark(self) -> str:
        """What stands between a number's whole and its decimals."""
        return self.entries["decimal_mark"]

    def unit(self, unit: str | None) -> str:
        """How a unit of the fact dictionary is said after a number; empty for ratings and
        counts."""
        return self.entries.get(f"units.{unit}", "")

    def unit_alone(self, unit: str | None) -> str:
        """How a unit of the fact dictionary is said where it stands by itself."""
        return self.entries.get(f"unit_names.{unit}", unit or "")

    def operator(self, word: str) -> str:
        """How an operator of the rule files is said."""
        return self.say(f"operators.{word}")

    def listing(self, words: Sequence[str]) -> str:
        """``chest``, ``chest and lats``, ``chest, lats and biceps``."""
        if len(words) < 2:
            return "".join(words)
        return self.say("pair", first=", ".join(words[:-1]), last=words[-1])


def capital(text: str) -> str:
    """A text that begins with a capital letter; its other letters stay as they are."""
    return text[:1].upper() + text[1:]


@cache
def languages() -> tuple[str, ...]:
    """The languages that the service speaks, English first."""
    found = {file.stem for file in _folder().glob("*.yaml")}
    return (ENGLISH, *sorted(found - {ENGLISH}))


def _folder() -> Path:
    return rules_folder() / "texts"


def _from_english(language: str) -> Path:
    """What is looked up by its English text. A catalogue cannot do without."""
    return _folder() / "from_english" / f"{language}.yaml"


def _sentences(section: Mapping[Any, Any], within: str = "") -> Iterator[tuple[str, str]]:
    for name, said in section.items():
        if not isinstance(name, str):
            raise TypeError(f"the name {within}{name} must stand in quotes")
        if isinstance(said, Mapping):
            yield from _sentences(said, f"{within}{name}.")
        elif isinstance(said, str):
            yield within + name, said
        else:
            raise TypeError(f"{within}{name} must be a text, not {said!r}")
