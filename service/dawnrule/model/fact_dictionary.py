"""The fact dictionary: type, unit, range and direction of every fact."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any, Literal, Self, TypeAlias, TypeGuard

from dawnrule.i18n.catalog import Texts
from dawnrule.i18n.lazy import LazyText, lazy, lazy_number
from dawnrule.i18n.resources import read_data, rules_folder
from dawnrule.model.vocabulary import Vocabulary

FactValue: TypeAlias = bool | int | float | str
Facts: TypeAlias = Mapping[str, FactValue]
"""Facts of one subject by name. A name that is absent was not reported."""

Scope: TypeAlias = Literal["day", "part"]
FactType: TypeAlias = Literal["boolean", "integer", "number", "enumeration"]


FIRST_EDITION, SECOND_EDITION = 1, 2
"""Facts are derived and recorded for the rule sets that know them: those of the second edition
came with baseline 2.0.0, and no older rule set reads one."""

EVERY_EDITION = 1_000
"""Later than any edition that there will be."""


@dataclass(frozen=True, slots=True)
class FactDefinition:
    """One entry of ``rules/facts.yaml``; the keys there are the attributes here."""

    name: str
    type: FactType
    scope: Scope
    worse: str
    origin: str
    meaning: str
    label: str
    unit: str | None = None
    values: tuple[str, ...] = ()
    least: float = -math.inf
    greatest: float = math.inf
    minimum: str | None = None
    source: str | None = None
    parameters: Mapping[str, Any] = field(default_factory=dict)
    stop: bool = False
    rests: tuple[FactValue, ...] = ()
    grows: bool = False
    remembered: bool = False
    holds_back: tuple[FactValue, ...] = ()
    step: float | None = None
    """The step in which people rate a number; None where they give it as it is."""
    optional: bool = False
    """Whether nobody is asked for it, so that advice never lists it as not reported."""
    edition: int = FIRST_EDITION

    @property
    def is_numeric(self) -> bool:
        """Whether the fact is ordered, so that above and below make sense."""
        return self.type in ("integer", "number")

    def is_readable_in(self, scope: Scope) -> bool:
        """Tell whether a rule of this scope may test the fact."""
        return scope == "part" or self.scope == "day"

    def accepts(self, value: object) -> bool:
        """Return whether a value has the declared type and lies in the declared range."""
        match self.type:
            case "boolean":
                return isinstance(value, bool)
            case "enumeration":
                return isinstance(value, str) and value in self.values
            case "integer":
                return _is_int(value) and self.least <= value <= self.greatest
            case "number":
                return _is_finite(value) and self.least <= value <= self.greatest

    def allowed(self) -> LazyText:
        """Describe in words what would be accepted."""
        least, greatest = lazy_number(self.least), lazy_number(self.greatest)
        match self.type:
            case "boolean":
                return lazy("field.true_or_false")
            case "enumeration":
                return lazy("field.one_of", words=", ".join(self.values))
            case "integer":
                return lazy("field.whole_number", least=least, greatest=greatest)
            case "number":
                return lazy("field.number", least=least, greatest=greatest)


def _is_int(value: object) -> TypeGuard[int]:
    return isinstance(value, int) and not isinstance(value, bool)


def is_number(value: object) -> TypeGuard[float]:
    """Tell whether a value is a number; ``True`` and ``False`` are none."""
    return isinstance(value, int | float) and not isinstance(value, bool)


def _is_finite(value: object) -> TypeGuard[float]:
    return _is_int(value) or (isinstance(value, float) and math.isfinite(value))


@dataclass(frozen=True, slots=True)
class FactDictionary(Mapping[str, FactDefinition]):
    """All facts by name, in the file's order."""

    definitions: Mapping[str, FactDefinition]
    _later: dict[int, frozenset[str]] = field(default_factory=dict, init=False, compare=False)
    """The facts of later editions than one, once they were asked for."""
    _editions: dict[tuple[str, ...], int] = field(default_factory=dict, init=False, compare=False)
    """The edition that facts were written for, once it was asked for."""

    @classmethod
    @cache
    def bundled(cls) -> Self:
        """Load the fact dictionary that ships with the service."""
        return cls.from_file(rules_folder() / "facts.yaml", Vocabulary.bundled())

    @classmethod
    def from_file(cls, file: Path, vocabulary: Vocabulary) -> Self:
        """Read a dictionary file; enumerations may name a list of the vocabulary."""
        data = read_data(file)
        definitions = (_definition(entry, vocabulary) for entry in data["facts"])
        return cls({definition.name: definition for definition in definitions})

    def __hash__(self) -> int:
        return len(self.definitions)  # there are few, one for each language

    def __getitem__(self, name: str) -> FactDefinition:
        return self.definitions[name]

    def __contains__(self, name: object) -> bool:
        return name in self.definitions

    def __iter__(self) -> Iterator[str]:
        return iter(self.definitions)

    def __len__(self) -> int:
        return len(self.definitions)

    def translated(self, texts: Texts) -> Self:
        """Return the same facts with labels of a catalogue; where it has none, they stay."""
        names = texts.section("facts")
        return replace(
            self,
            definitions={
                name: replace(definition, label=names.get(name, definition.label))
                for name, definition in self.items()
            },
        )

    def edition_of(self, facts: Iterable[str]) -> int:
        """Return the edition that a rule set which reads these facts was written for."""
        read = tuple(facts)
        if read not in self._editions:
            known = [self.definitions[fact].edition for fact in read if fact in self.definitions]
            self._editions[read] = max(known, default=FIRST_EDITION)
        return self._editions[read]

    def later_than(self, edition: int) -> frozenset[str]:
        """Return the facts of later editions."""
        if edition not in self._later:
            later = (n for n, d in self.items() if d.edition > edition)
            self._later[edition] = frozenset(later)
        return self._later[edition]

    def readable_in(self, scope: Scope) -> frozenset[str]:
        """Return the facts that a rule of this scope may test: part rules read day facts too."""
        return frozenset(n for n, d in self.items() if d.is_readable_in(scope))


def _definition(entry: Mapping[str, Any], vocabulary: Vocabulary) -> FactDefinition:
    values = entry.get("values", ())
    least, greatest = entry.get("range", (-math.inf, math.inf))
    return FactDefinition(
        name=entry["name"],
        type=entry["type"],
        scope=entry["scope"],
        worse=entry["worse"],
        origin=entry["from"],
        meaning=entry["meaning"],
        label=entry.get("label", entry["name"].replace("_", " ")),
        unit=entry.get("unit"),
        values=vocabulary.values_of(values) if isinstance(values, str) else tuple(values),
        least=least,
        greatest=greatest,
        minimum=entry.get("minimum"),
        source=entry.get("source"),
        parameters=entry.get("parameters", {}),
        stop=entry.get("stop", False),
        rests=tuple(entry.get("rests", ())),
        grows=entry.get("grows", False),
        remembered=entry.get("remembered", False),
        holds_back=tuple(entry.get("holds_back", ())),
        step=entry.get("step"),
        optional=entry.get("optional", False),
        edition=entry.get("edition", FIRST_EDITION),
    )
