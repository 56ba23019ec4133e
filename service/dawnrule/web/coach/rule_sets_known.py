"""Which rule sets are there, and which of them decides or only listens?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime

from dawnrule.store import Activation, Books
from dawnrule.web.service import service


@dataclass(frozen=True, slots=True)
class Standing:
    """A rule set in short. ``published_at`` is None for one that ships.

    ``active`` is whether it decides today for all who have none of their own; ``active_from`` then
    is since when, None where nobody activated it. ``athletes`` are those who have it as their own.
    ``shadow_since`` is None unless it runs in the shadow.
    """

    name: str
    version: str
    digest: str
    summary: str
    published_at: datetime | None
    active: bool
    active_from: date | datetime | None
    athletes: tuple[str, ...]
    shadow_since: datetime | None

    @property
    def full_name(self) -> str:
        """``baseline@1.0.0``"""
        return f"{self.name}@{self.version}"


def standings(books: Books) -> list[Standing]:
    """Every rule set: those that ship, and then those that were published."""
    its = service()
    active = its.in_force_today(books).digest
    activations = [one for one in books.activations.all() if one.taken_back_at is None]
    candidate = books.shadow.candidate()

    def standing(
        name: str, version: str, digest: str, summary: str, published_at: datetime | None
    ) -> Standing:
        return Standing(
            name,
            version,
            digest,
            summary,
            published_at,
            digest == active,
            active_from(activations, digest) if digest == active else None,
            tuple(sorted(own_of(activations, digest))),
            candidate.since if candidate and candidate.digest == digest else None,
        )

    shipped = its.advisor.library.all()
    return [
        *(standing(r.name, r.version, r.digest, r.summary, None) for r in shipped),
        *(
            standing(r.name, r.version, r.digest, r.summary, r.published_at)
            for r in books.rule_sets.all()
        ),
    ]


def names_of_rule_sets(books: Books) -> list[str]:
    """Every rule set as name@version: those that ship, and then those that were published."""
    shipped = [one.full_name for one in service().advisor.library.all()]
    return shipped + [f"{one.name}@{one.version}" for one in books.rule_sets.all()]


def active_from(activations: list[Activation], digest: str) -> date | datetime | None:
    """Since when a rule set that decides for all does so: the date that its newest activation
    names, else the time at which that was made. ``activations`` stand, the newest first."""
    for one in activations:
        if one.athlete_id is None and one.digest == digest:
            return one.from_date or one.at
    return None


def own_of(activations: list[Activation], digest: str) -> Iterator[str]:
    """The athletes whose newest activation is of a rule set; ``activations`` stand, the newest
    first."""
    newest: dict[str, str | None] = {}
    for one in activations:
        if one.athlete_id is not None:
            newest.setdefault(one.athlete_id, one.digest)
    return (athlete_id for athlete_id, own in newest.items() if own == digest)
