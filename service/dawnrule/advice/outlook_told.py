"""How is an outlook read as text?"""

from __future__ import annotations

import textwrap
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any, Self

from dawnrule.advice.compose import Composer
from dawnrule.facts.check_in import Athlete
from dawnrule.rules.wording import Wording
from dawnrule.vocabulary import Texts, Vocabulary
from dawnrule.vocabulary.texts import capital

_LINE_WIDTH = 100
_NEXT_LINES = "  "

Plain = Mapping[str, Any]


def outlook_text(outlook: Plain, athlete: Athlete, composer: Composer) -> str:
    """An outlook (plain JSON values) as text: what it does not know today, what opens when for each
    muscle group, the balanced session, and what is assumed; times are those of the athlete's
    zone."""
    teller = _Teller.of(outlook, composer)
    heading = composer.texts.say(
        "outlook_heading",
        athlete=athlete.name,
        days=outlook["days"],
        time=_local(outlook["from"]),
        time_zone=athlete.time_zone,
    )
    groups = "\n".join(map(_wrapped, teller.groups()))
    session = "\n".join(map(_wrapped, teller.balanced_session()))
    unknown = [_wrapped(outlook["note"])] if outlook["note"] else []
    return "\n\n".join((heading, *unknown, groups, session, _wrapped(outlook["assumes"])))


def outlook_of_groups(outlook: Plain, composer: Composer) -> list[str]:
    """What opens when, a line for the muscle groups of which the same is said; times are those of
    the athlete's zone."""
    return list(_Teller.of(outlook, composer).groups_alike())


@dataclass(frozen=True, slots=True)
class _Teller:
    outlook: Plain
    vocabulary: Vocabulary
    wording: Wording
    texts: Texts

    @classmethod
    def of(cls, outlook: Plain, composer: Composer) -> Self:
        wording = Wording(composer.dictionary, composer.vocabulary, composer.texts)
        return cls(outlook, composer.vocabulary, wording, composer.texts)

    def groups(self) -> Iterator[str]:
        prospects = self.outlook["prospects"]
        for group, of_group in groupby(prospects, key=lambda one: str(one["muscle_group"])):
            what, said = self._begun(group), self._group(list(of_group))
            yield self.texts.say("outlook_line", what=what, said=said)

    def groups_alike(self) -> Iterator[str]:
        alike: dict[str, list[str]] = defaultdict(list)
        prospects = self.outlook["prospects"]
        for group, of_group in groupby(prospects, key=lambda one: str(one["muscle_group"])):
            alike[self._group(list(of_group))].append(self.vocabulary.label(group))
        for said, labels in alike.items():
            what = self.texts.listing(labels)
            yield self.texts.say("outlook_line", what=capital(what), said=said)

    def balanced_session(self) -> Iterator[str]:
        movements = self.outlook["balanced_session"]
        goal = self.vocabulary.label(movements[0]["goal"])
        yield self.texts.say("outlook_balanced", goal=goal)
        for movement in movements:
            what, said = self._begun(movement["movement"]), self._movement(movement)
            yield self.texts.say("outlook_line", what=what, said=said)

    def _begun(self, identifier: str) -> str:
        """A word at the head of a line."""
        return capital(self.vocabulary.label(identifier))

    def _group(self, prospects: Sequence[Plain]) -> str:
        """The goals together of which the same is said, in the order in which they open."""
        if all(one["open_now"] for one in prospects):
            return self.texts.say("outlook_open_for_all")
        is_open, others = ([p for p in prospects if p["open_now"] is now] for now in (True, False))
        goals: dict[tuple[str, str], list[Plain]] = defaultdict(list)
        if len(is_open) > len(others):
            goals["outlook_open_but", ""] = others
            is_open = []
        for one in sorted([*is_open, *others], key=_order):
            goals[self._answer(one)].append(one)
        return "; ".join(
            self.texts.say(sentence, what=what, goals=self._goals(several))
            for (sentence, what), several in goals.items()
        )

    def _goals(self, prospects: Sequence[Plain]) -> str:
        if len(prospects) == len(self.vocabulary.goals):
            return self.texts.say("outlook_everything")
        return self.texts.listing([self.vocabulary.label(one["goal"]) for one in prospects])

    def _answer(self, prospect: Plain) -> tuple[str, str]:
        """Which sentence a goal stands in, and the time or the need that is said there."""
        if prospect["open_now"]:
            return "outlook_open", ""
        if prospect["opens_at"]:
            return "outlook_opens", _local(prospect["opens_at"])
        if prospect["needs"]:
            return "outlook_needs", self._needs(prospect)
        return ("outlook_stopped" if prospect["stopped"] else "outlook_later"), ""

    def _needs(self, prospect: Plain) -> str:
        changes = self.texts.listing([self.wording.need(**need) for need in prospect["needs"]])
        if prospect["needs_from"] is None:
            return changes
        time = _local(prospect["needs_from"])
        return self.texts.say("outlook_needs_from", changes=changes, time=time)

    def _movement(self, movement: Plain) -> str:
        if movement["pattern"] is None:
            return self.texts.say("outlook_no_pattern", days=self.outlook["days"])
        is_open = movement["opens_at"] == self.outlook["from"]
        return self.texts.say(
            "outlook_pattern_open" if is_open else "outlook_pattern_opens",
            pattern=self.vocabulary.label(movement["pattern"]),
            muscle_groups=self.texts.listing(
                [self.vocabulary.label(group) for group in movement["muscle_groups"]]
            ),
            time=_local(movement["opens_at"]),
        )


def _order(prospect: Plain) -> tuple[bool, float]:
    """What opens stands first, the earliest at the head; what is open opens now."""
    opens_at = prospect["opens_at"]
    return opens_at is None, datetime.fromisoformat(opens_at).timestamp() if opens_at else 0


def _local(time: str) -> str:
    """A time in the athlete's zone as a clock there shows it."""
    return datetime.fromisoformat(time).replace(tzinfo=None).isoformat(" ", "minutes")


def _wrapped(line: str) -> str:
    return textwrap.fill(line, _LINE_WIDTH, subsequent_indent=_NEXT_LINES)
