"""The registry: bundled and published rule sets, and their compiled form."""

from __future__ import annotations

import logging
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from threading import RLock
from typing import Generic, Protocol, Self, TypeVar

from cachetools import LRUCache

from dawnrule.errors import DawnruleError, Finding, NotFound, RuleSetInvalid
from dawnrule.i18n.resources import rules_folder
from dawnrule.model import FactDictionary
from dawnrule.rules.analysis.safety import safety_findings
from dawnrule.rules.counterfactuals import WhatIf
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.rules.loading.loader import bundled_rule_set, parse_rule_set
from dawnrule.rules.loading.published_files import is_published
from dawnrule.rules.rule_set import RuleSet

T = TypeVar("T")

MAX_COMPILED = 16
"""The number of compiled rule sets kept; each holds an engine of some hundred kilobytes."""

MAX_LOADED = 64
"""The number of published rule sets kept as they were read, in addition to the bundled ones."""

_log = logging.getLogger("dawnrule.rules")

_VERSION_FILE = re.compile(r"(\d+)\.(\d+)\.(\d+)\.yaml")


def bundled_rule_set_files() -> tuple[Path, ...]:
    """List the rule files that ship with the service, by name and then by version."""
    files = [file for file in rules_folder().glob("*/*.yaml") if _VERSION_FILE.fullmatch(file.name)]
    return tuple(sorted(files, key=lambda file: (file.parent.name, _version_key(file.stem))))


def check_bundled_rule_sets() -> None:
    """Read each bundled rule file that does not have the bytes that were published. Raises
    ``RuleSetInvalid`` for one that is broken."""
    for file in bundled_rule_set_files():
        if not is_published(file.read_bytes()):
            bundled_rule_set(file.parent.name, file.stem)


class PublishedTexts(Protocol):
    """A store of the texts of published rule sets. What was published never changes."""

    def digest_named(self, name: str, version: str) -> str | None:
        """Return the digest of a rule set, or None for an unknown name and version."""

    def text_of(self, digest: str) -> str | None:
        """Return the text that had a digest when it was published, or None for an unknown one."""

    def full_names(self) -> list[str]:
        """List what was published, as name@version, the oldest first."""


class NoPublishedTexts:
    """A store in which nothing was published."""

    def digest_named(self, name: str, version: str) -> None:
        """Return None."""

    def text_of(self, digest: str) -> None:
        """Return None."""

    def full_names(self) -> list[str]:
        """Return an empty list."""
        return []


class _Bundled(Mapping[tuple[str, str], RuleSet]):
    """The rule sets that ship with the service, by name and version; each is read when it is first
    asked for, as most commands need one of them."""

    def __init__(self) -> None:
        self._names = tuple((file.parent.name, file.stem) for file in bundled_rule_set_files())

    def __getitem__(self, name: tuple[str, str]) -> RuleSet:
        if name not in self._names:
            raise KeyError(name)
        return bundled_rule_set(*name)

    def __iter__(self) -> Iterator[tuple[str, str]]:
        return iter(self._names)

    def __len__(self) -> int:
        return len(self._names)


class RuleSetLibrary:
    """Rule sets by name and version or by digest, with their compiled form, made on first use.

    Bundled rule sets take precedence over published ones. Safe to use from several threads.
    """

    def __init__(self, rule_sets: Mapping[tuple[str, str], RuleSet]) -> None:
        self._bundled = rule_sets
        self._published: PublishedTexts = NoPublishedTexts()
        self._loaded = _Cache[RuleSet](MAX_LOADED)
        self._usable = _Cache[RuleSet | None](MAX_LOADED)
        self._deciding = _Cache[RuleSet | None](MAX_LOADED)
        self._compiled = _Cache[tuple[Decider, WhatIf]](MAX_COMPILED)
        self._unsafe = _Cache[tuple[Finding, ...]](MAX_LOADED)

    @classmethod
    def bundled(cls) -> Self:
        """The rule sets that ship with the service, each read on first use: whatever returns one
        raises ``RuleSetInvalid`` if its file is broken."""
        return cls(_Bundled())

    def with_published(self, published: PublishedTexts) -> RuleSetLibrary:
        """Add published rule sets; the result shares what is compiled and what is proved."""
        library = RuleSetLibrary(self._bundled)
        library._published = published
        library._compiled = self._compiled
        library._unsafe = self._unsafe
        return library

    def all(self) -> tuple[RuleSet, ...]:
        """List the bundled rule sets, by name and then by version."""
        return tuple(self._bundled.values())

    def get(self, name: str, version: str) -> RuleSet:
        """Return one rule set. Raises ``NotFound``, which lists the known ones, also when a
        published text no longer has the digest that it was published with."""
        found = self._bundled.get((name, version))
        if found is not None:
            return found
        digest = self._published.digest_named(name, version)
        if digest is None:
            bundled = [f"{n}@{v}" for n, v in self._bundled]
            known = ", ".join([*bundled, *self._published.full_names()])
            raise NotFound(f"There is no rule set {name}@{version}; there are: {known}.")
        return self.by_digest(digest)

    def by_digest(self, digest: str) -> RuleSet:
        """Return the rule set of a digest. Raises ``NotFound`` as ``get`` does."""
        newest_first = (self._bundled[name] for name in reversed(tuple(self._bundled)))
        bundled = next((r for r in newest_first if r.digest == digest), None)
        if bundled is not None:
            return bundled
        return self._loaded.get(digest, lambda: self._published_of(digest))

    def usable(self, digest: str) -> RuleSet | None:
        """Return the rule set of a digest, or None if it cannot be read and compiled, which is
        logged and not tried again."""
        return self._usable.get(digest, lambda: self._load_usable(digest))

    def deciding(self, digest: str) -> RuleSet | None:
        """Return the rule set of a digest if it may decide for people; None if it is not usable or
        does not always rest for a warning sign, which is logged and not tried again."""
        return self._deciding.get(digest, lambda: self._load_deciding(digest))

    def require_safe(self, rule_set: RuleSet) -> None:
        """Verify that a rule set may decide for people. Raises ``RuleSetInvalid`` when it does not
        always rest for a warning sign or cannot be compiled, or ``EngineFailure``."""
        self.decider(rule_set)
        found = self._unsafe.get(
            rule_set.digest, lambda: tuple(safety_findings(rule_set, FactDictionary.bundled()))
        )
        if found:
            raise RuleSetInvalid([replace(one, file=rule_set.full_name) for one in found])

    def decider(self, rule_set: RuleSet) -> Decider:
        """Return the compiled form of a rule set that makes decisions."""
        return self._compiled_of(rule_set)[0]

    def what_if(self, rule_set: RuleSet) -> WhatIf:
        """Return the compiled form of a rule set that answers what-if questions."""
        return self._compiled_of(rule_set)[1]

    def _load_usable(self, digest: str) -> RuleSet | None:
        try:
            rule_set = self.by_digest(digest)
            self.decider(rule_set)
        except DawnruleError as error:
            _log.critical("the rule set %s cannot be used: %s", digest, error.detail)
            return None
        return rule_set

    def _load_deciding(self, digest: str) -> RuleSet | None:
        rule_set = self.usable(digest)
        try:
            if rule_set is not None:
                self.require_safe(rule_set)
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


class _Cache(Generic[T]):
    """Values made once for each digest; the least recently used is dropped. Safe to use from
    several threads."""

    def __init__(self, maxsize: int) -> None:
        self._values: LRUCache[str, T] = LRUCache(maxsize)
        self._lock = RLock()  # reading an extension reads the rule set that it extends

    def get(self, digest: str, make: Callable[[], T]) -> T:
        """Return the value of a digest, and make it first if it is not there."""
        with self._lock:
            if digest not in self._values:
                self._values[digest] = make()
            return self._values[digest]


def _version_key(version: str) -> tuple[int, ...]:
    return tuple(int(number) for number in version.split("."))
