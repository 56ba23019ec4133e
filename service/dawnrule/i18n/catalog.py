"""Message catalogues, one for each language."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any, Self

from dawnrule.i18n.resources import read_data, rules_folder

_DIGITS = re.compile(r"\d+")
_HOLE = re.compile(r"{(\w+)[^}]*}")
_TODAY = "now"

ENGLISH = "en"
"""The language that records are composed in, and that speaks where no other is asked for."""


@dataclass(frozen=True, slots=True)
class Texts:
    """The catalogue ``rules/texts/<language>.yaml`` in memory.

    ``entries`` maps names to sentences; a sentence inside a section has the section's name, a
    dot and its own: ``operators.below``. ``from_english`` maps what rule files, records and
    proofs say in English to the same in this language; to English, where that is said in other
    words today.
    """

    entries: Mapping[str, str]
    from_english: Mapping[str, str] = field(default_factory=dict)

    @classmethod
    @cache
    def bundled(cls, language: str = ENGLISH) -> Self:
        """Load the catalogue of a language that ships with the service."""
        pairs = read_data(_from_english(language))
        if language != ENGLISH:
            translated = {pair[ENGLISH]: pair[language] for pair in pairs}
            return replace(cls.without_rules(language), from_english=translated)
        texts = cls.of_records()
        reworded = {pair[ENGLISH]: pair[_TODAY] for pair in pairs}
        entries = {name: reworded.get(said, said) for name, said in texts.entries.items()}
        return cls(entries, reworded)

    @classmethod
    @cache
    def without_rules(cls, language: str) -> Self:
        """Load the catalogue of a language without what rule files say, which is most of it; the
        whole of it in English, which is short."""
        return cls.bundled() if language == ENGLISH else cls.from_file(_file(language))

    @classmethod
    @cache
    def of_records(cls) -> Self:
        """Load the English that records are composed in, which never changes."""
        return cls.from_file(_file(ENGLISH))

    @classmethod
    def from_file(cls, file: Path) -> Self:
        """Read a catalogue. Raises ``TypeError`` for a name or a sentence that is no text, as
        YAML makes of an unquoted ``yes``."""
        return cls(dict(_sentences(read_data(file))))

    def say(self, name: str, /, **values: object) -> str:
        """Return the sentence of a name, filled in. Raises ``KeyError`` for a missing name or
        value."""
        return self.entries[name].format_map(values)

    def section(self, name: str) -> dict[str, str]:
        """Return the sentences of a section by their names in it; empty where there is none."""
        within = f"{name}."
        return {n.removeprefix(within): s for n, s in self.entries.items() if n.startswith(within)}

    def of_rule(self, english: str) -> str:
        """Translate a text of a rule file; texts that were never translated stay as they are.

        The English text itself is the key, so a text that a coach changed or wrote is shown as
        written, never in the words of another.
        """
        return self.from_english.get(" ".join(english.split()), english)

    def of_record(self, english: str) -> str:
        """Translate a sentence of a record; its numbers are carried over in their order."""
        template = self.from_english.get(_DIGITS.sub("{}", english))
        return template.format(*_DIGITS.findall(english)) if template else english

    def reworded(self, english: str) -> str:
        """Say a sentence of an English record in the words of today; others stay."""
        if english in self.from_english:
            return self.from_english[english]
        for was, now in _rewordings():
            if found := was.fullmatch(english):
                return now.format(*found.groups())
        return english

    def number(self, text: str) -> str:
        """Write a number with the decimal mark of this language."""
        return text.replace(".", self.decimal_mark)

    @property
    def language(self) -> str:
        """The language's two letters (ISO 639-1)."""
        return self.entries["language"]

    @property
    def decimal_mark(self) -> str:
        """What stands between a number's whole and its decimals."""
        return self.entries["decimal_mark"]

    def unit(self, unit: str | None) -> str:
        """Return how a unit is written after a number; empty for ratings and counts."""
        return self.entries.get(f"units.{unit}", "")

    def unit_alone(self, unit: str | None) -> str:
        """Return how a unit is written by itself."""
        return self.entries.get(f"unit_names.{unit}", unit or "")

    def operator(self, word: str) -> str:
        """Return the words for an operator of the rule files."""
        return self.say(f"operators.{word}")

    def listing(self, words: Sequence[str]) -> str:
        """Join words: ``chest``, ``chest and lats``, ``chest, lats and biceps``."""
        if len(words) < 2:
            return "".join(words)
        pair = "pair_eased" if self._is_eased_before(words[-1]) else "pair"
        return self.say(pair, first=", ".join(words[:-1]), last=words[-1])

    def names(self, names: Sequence[str]) -> str:
        """Join names of people; those with a comma of their own have a semicolon between."""
        return "; ".join(names) if any("," in name for name in names) else self.listing(names)

    def _is_eased_before(self, word: str) -> bool:
        """Whether "and" has another form before this word, as before i in Spanish."""
        before = self.entries["pair_eased_before"]
        return bool(before and re.match(before, word, re.IGNORECASE))


def capital(text: str) -> str:
    """Capitalize the first letter; the other letters stay as they are."""
    return text[:1].upper() + text[1:]


@cache
def languages() -> tuple[str, ...]:
    """Return the languages that the service speaks, English first."""
    found = {file.stem for file in _folder().glob("*.yaml")}
    return (ENGLISH, *sorted(found - {ENGLISH}))


@cache
def _rewordings() -> tuple[tuple[re.Pattern[str], str], ...]:
    """Return what records say with something filled in, and the words of today for it."""
    pairs = Texts.bundled().from_english.items()
    return tuple(_rewording(was, now) for was, now in pairs if _HOLE.search(was))


def _rewording(was: str, now: str) -> tuple[re.Pattern[str], str]:
    names = _HOLE.findall(was)
    pattern = "(.+?)".join(map(re.escape, _HOLE.split(was)[::2]))
    return re.compile(pattern), _HOLE.sub(lambda hole: f"{{{names.index(hole[1])}}}", now)


def _folder() -> Path:
    return rules_folder() / "texts"


def _file(language: str) -> Path:
    return _folder() / f"{language}.yaml"


def _from_english(language: str) -> Path:
    """Return the file of translations that are looked up by their English text."""
    return _folder() / "from_english" / f"{language}.yaml"


def _sentences(section: Mapping[Any, Any], within: str = "") -> Iterator[tuple[str, str]]:
    for name, sentence in section.items():
        if not isinstance(name, str):
            raise TypeError(f"the name {within}{name} must stand in quotes")
        if isinstance(sentence, Mapping):
            yield from _sentences(sentence, f"{within}{name}.")
        elif isinstance(sentence, str):
            yield within + name, sentence
        else:
            raise TypeError(f"{within}{name} must be a text, not {sentence!r}")
