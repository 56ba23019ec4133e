"""Which rule sets are there, and which engine decides for each?"""

from __future__ import annotations

import logging
import re
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from threading import RLock
from typing import Generic, Protocol, Self, TypeVar

from dawnrule.errors import DawnruleError, NotFound, RuleSetInvalid
from dawnrule.i18n.resources import rules_folder
from dawnrule.model import FactDictionary
from dawnrule.rules.analysis.safety import heeding_findings
from dawnrule.rules.counterfactuals import WhatIf
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.rules.loading.loader import parse_rule_set, shipped_rule_set
from dawnrule.rules.rule_set import RuleSet

T = TypeVar("T")

COMPILED_AT_MOST = 16
"""How many compiled rule sets are kept; each holds an engine of some hundred kilobytes."""

LOADED_AT_MOST = 64
"""How many published rule sets are kept as they were read, besides those that ship."""

_log = logging.getLogger("dawnrule.rules")

_VERSION_FILE = re.compile(r"(\d+)\.(\d+)\.(\d+)\.yaml")


def shipped_rule_set_files() -> tuple[Path, ...]:
    """The rule files that ship with the service, by name and then by version."""
    files = [file for file in rules_folder().glob("*/*.yaml") if _VERSION_FILE.fullmatch(file.name)]
    return tuple(sorted(files, key=lambda file: (file.parent.name, _version_key(file.stem))))


class Published(Protocol):
    """Where the texts of published rule sets are kept. What was published never changes."""

    def digest_named(self, name: str, version: str) -> str | None:
        """The digest of a rule set; None if there is none of this name and version."""

    def text_of(self, digest: str) -> str | None:
        """The text of the rule set that had a digest when it was published; None if none had."""

    def full_names(self) -> list[str]:
        """What was published, as name@version, in the order in which it came."""


class NothingPublished:
    """No rule sets but those that ship."""

    def digest_named(self, name: str, version: str) -> None:
        """None."""

    def text_of(self, digest: str) -> None:
        """None."""

    def full_names(self) -> list[str]:
        """None."""
        return []


class RuleSetLibrary:
    """The rule sets by name and version or by digest, and their deciders, compiled when first used.

    Those that ship come before those that were published. Safe to use from several threads.
    """

    def __init__(self, rule_sets: Mapping[tuple[str, str], RuleSet]) -> None:
        self._shipped = rule_sets
        self._published: Published = NothingPublished()
        self._loaded = _Newest[RuleSet](LOADED_AT_MOST)
        self._usable = _Newest[RuleSet | None](LOADED_AT_MOST)
        self._deciding = _Newest[RuleSet | None](LOADED_AT_MOST)
        self._compiled = _Newest[tuple[Decider, WhatIf]](COMPILED_AT_MOST)

    @classmethod
    def bundled(cls) -> Self:
        """The rule sets that ship with the service. Raises ``RuleSetInvalid``."""
        files = shipped_rule_set_files()
        rule_sets = [shipped_rule_set(file.parent.name, file.stem) for file in files]
        return cls({(r.name, r.version): r for r in rule_sets})

    def with_published(self, published: Published) -> RuleSetLibrary:
        """The same rule sets and those that were published; what is compiled is shared."""
        library = RuleSetLibrary(self._shipped)
        library._published = published
        library._compiled = self._compiled
        return library

    def all(self) -> tuple[RuleSet, ...]:
        """Every rule set that ships, by name and then by version."""
        return tuple(self._shipped.values())

    def get(self, name: str, version: str) -> RuleSet:
        """One rule set. Raises ``NotFound`` and says which there are, also for one that was
        published and is not the same any more when it is read."""
        found = self._shipped.get((name, version))
        if found is not None:
            return found
        digest = self._published.digest_named(name, version)
        if digest is None:
            bundled = [f"{n}@{v}" for n, v in self._shipped]
            known = ", ".join([*bundled, *self._published.full_names()])
            raise NotFound(f"There is no rule set {name}@{version}; there are: {known}.")
        return self.by_digest(digest)

    def by_digest(self, digest: str) -> RuleSet:
        """The rule set of a digest. Raises ``NotFound`` as ``get`` does."""
        bundled = next((r for r in self._shipped.values() if r.digest == digest), None)
        if bundled is not None:
            return bundled
        return self._loaded.get(digest, lambda: self._published_of(digest))

    def usable(self, digest: str) -> RuleSet | None:
        """The rule set of a digest; None if it cannot be read and compiled, which is logged and
        not tried again."""
        return self._usable.get(digest, lambda: self._tried(digest))

    def deciding(self, digest: str) -> RuleSet | None:
        """The rule set of a digest where it may decide for people; None if it is not usable, or
        does not rest everybody with a warning sign, which is logged and not tried again."""
        return self._deciding.get(digest, lambda: self._tried_to_decide(digest))

    def admit(self, rule_set: RuleSet) -> None:
        """See that a rule set may decide for people. Raises ``RuleSetInvalid`` when it does not
        rest everybody with a warning sign or cannot be compiled, or ``EngineFailure``."""
        self.decider(rule_set)
        found = list(heeding_findings(rule_set, FactDictionary.bundled()))
        if found:
            raise RuleSetInvalid([replace(one, file=rule_set.full_name) for one in found])

    def decider(self, rule_set: RuleSet) -> Decider:
        """The compiled form of a rule set, by which decisions are made."""
        return self._compiled_of(rule_set)[0]

    def what_if(self, rule_set: RuleSet) -> WhatIf:
        """The compiled form of a rule set, by which other facts are tried."""
        return self._compiled_of(rule_set)[1]

    def _tried(self, digest: str) -> RuleSet | None:
        try:
            rule_set = self.by_digest(digest)
            self.decider(rule_set)
        except DawnruleError as error:
            _log.critical("the rule set %s cannot be used: %s", digest, error.detail)
            return None
        return rule_set

    def _tried_to_decide(self, digest: str) -> RuleSet | None:
        rule_set = self.usable(digest)
        try:
            if rule_set is not None:
                self.admit(rule_set)
        except DawnruleError as error:
            _log.critical("the rule set %s may not decide: %s", digest, error.detail)
            return None
        return rule_set

    def _compiled_of(self, rule_set: RuleSet) -> tuple[Decider, WhatIf]:
        return self._compiled.get(
            rule_set.digest,
            lambda: (Decider(rule_set, FactDictionary.bundled()), WhatIf(rule_set)),
        )

    def _published_of(self, digest: str) -> RuleSet:
        text = self._published.text_of(digest)
        if text is None:
            raise NotFound(f"There is no rule set with the digest {digest}.")
        try:
            rule_set = parse_rule_set(text, digest, resolve=self.get)
        except RuleSetInvalid as error:
            raise NotFound(f"The rule set {digest} cannot be read: {error.detail}") from error
        if rule_set.digest != digest:
            raise NotFound(f"The rule set {digest} is now read as {rule_set.digest}.")
        return rule_set


class _Newest(Generic[T]):
    """What was made for a digest, once; what was used longest ago is let go of."""

    def __init__(self, at_most: int) -> None:
        self._at_most = at_most
        self._made: OrderedDict[str, T] = OrderedDict()
        self._lock = RLock()  # an extension is read while what it extends is

    def get(self, digest: str, make: Callable[[], T]) -> T:
        """What was made for a digest, or is now."""
        with self._lock:
            if digest not in self._made:
                self._made[digest] = make()
            self._made.move_to_end(digest)
            while len(self._made) > self._at_most:
                self._made.popitem(last=False)
            return self._made[digest]


def _version_key(version: str) -> tuple[int, ...]:
    return tuple(int(number) for number in version.split("."))
