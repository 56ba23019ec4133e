"""Which rule sets are there in a database, and which of them decides for whom, and since when?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from tabulate import tabulate

from dawnrule.advice.in_force import StoredTexts, rule_set_in_force
from dawnrule.rules.library import RuleSetLibrary
from dawnrule.rules.rule_set import RuleSet
from dawnrule.settings import name_and_version
from dawnrule.store import Activation, Books, Store


def rule_sets_listed(store: Store, otherwise: str, now: datetime) -> str:
    """A table of what ships and what was published. ``otherwise``, as name@version, decides where
    none was activated. Raises ``NotFound`` when it is not there."""
    library = RuleSetLibrary.shipped().with_published(StoredTexts(store))
    decides_otherwise = library.get(*name_and_version(otherwise))
    names = {one.digest: one.full_name for one in library.all()}

    def rows(books: Books) -> list[tuple[str, str, str, str]]:
        roles = _Roles(books, library, decides_otherwise, now)
        published = {one.digest: f"{one.name}@{one.version}" for one in books.rule_sets.all()}
        return [
            (name, _rules(library, digest), "; ".join(roles.of(digest)) or "-", digest)
            for digest, name in {**names, **published}.items()
        ]

    headers = ("Rule set", "Rules", "Decides", "Digest")
    return tabulate(store.read(rows), headers=headers, disable_numparse=True)


def _rules(library: RuleSetLibrary, digest: str) -> str:
    rule_set = library.usable(digest)
    return str(len(rule_set.rules)) if rule_set else "cannot be used"


@dataclass(frozen=True, slots=True)
class _Roles:
    books: Books
    library: RuleSetLibrary
    otherwise: RuleSet
    now: datetime

    def of(self, digest: str) -> Iterator[str]:
        """What a rule set does now, or will."""
        if self._decides(None) == digest:
            yield f"for all, {self._since(digest)}"
        own = sum(self._decides(athlete_id) == digest for athlete_id in self._with_their_own())
        if own:
            yield f"for {own} athlete{'s' if own > 1 else ''} of their own"
        for one in self._standing(None):
            if one.digest == digest and not self._has_come(one):
                yield f"for all, from {one.from_date} on"
        candidate = self.books.shadow.candidate()
        if candidate is not None and candidate.digest == digest:
            yield f"in the shadow, since {_minute(candidate.since)}"

    def _decides(self, athlete_id: str | None) -> str:
        """The digest of what decides today, which is the server's day."""
        today = self.now.date()
        return rule_set_in_force(self.books, self.library, self.otherwise, athlete_id, today).digest

    def _since(self, digest: str) -> str:
        for one in self._standing(None):
            if one.digest == digest and self._has_come(one):
                later = one.from_date is not None and one.from_date > one.at.date()
                return f"since {one.from_date if later else _minute(one.at)}"
        return "as none was activated"

    def _with_their_own(self) -> set[str]:
        every = self.books.activations.all()
        ids = {one.athlete_id for one in every if one.athlete_id and one.taken_back_at is None}
        holds = self._decides(None)
        return {athlete_id for athlete_id in ids if self._decides(athlete_id) != holds}

    def _standing(self, athlete_id: str | None) -> Iterator[Activation]:
        for one in self.books.activations.all():
            if one.athlete_id == athlete_id and one.taken_back_at is None:
                yield one

    def _has_come(self, one: Activation) -> bool:
        return one.from_date is None or one.from_date <= self.now.date()


def _minute(at: datetime) -> str:
    return at.isoformat(sep=" ", timespec="minutes")
