"""Which facts could not be told, and what data would they have needed?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from dawnrule.vocabulary import FactDictionary, FactValue


@dataclass(frozen=True, slots=True)
class Missing:
    """A fact that the data do not suffice for; ``reason`` says what was needed and what came."""

    reason: str


@dataclass(frozen=True, slots=True)
class Told:
    """Facts that could be told, and the reasons why others could not."""

    facts: dict[str, FactValue] = field(default_factory=dict)
    missing: dict[str, str] = field(default_factory=dict)

    @classmethod
    def of(
        cls, findings: Iterable[tuple[str, FactValue | Missing]], dictionary: FactDictionary
    ) -> Told:
        """Sort findings into what was told and what was missing; a value that the dictionary does
        not accept, as a ratio to next to nothing may give, tells nothing."""
        told = cls()
        for name, finding in findings:
            if isinstance(finding, Missing):
                told.missing[name] = finding.reason
            elif not dictionary[name].accepts(finding):
                told.missing[name] = f"needs {dictionary[name].allowed()}, has {finding}"
            else:
                told.facts[name] = finding
        return told


def too_few(what: str, least: int, found: int) -> Missing:
    """The usual reason: so many were needed and fewer were there."""
    return Missing(f"needs {least} {what}, has {found}")
