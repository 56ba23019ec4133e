"""Golden decisions over a season: mornings with what came before them, each run through the
application.

The mornings stand in tests/golden/season/<version>.yaml, whose header explains their form. What
came before is posted in the order of time: check-ins, sessions and clearances, each with the clock
at its own hour; then the morning itself. Where a morning is decided otherwise than a practitioner
might, it says why.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, fields
from datetime import date, datetime, time, timedelta
from functools import cache
from operator import itemgetter, methodcaller
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from dawnrule.i18n.resources import read_data
from dawnrule.model.advice import Advice
from dawnrule.model.concern_transitions import ClearanceTerms
from dawnrule.model.concerns import ActorRole, Restriction
from dawnrule.model.entities import Athlete, CheckIn, Session
from dawnrule.model.serialization import from_json, to_json
from dawnrule.store import Store
from tests.season.diary import Diary, advisor, spoken

SEASON = Path(__file__).parent / "season"
ZONE = ZoneInfo("Europe/Berlin")
DAY = date(2026, 11, 28)
SEVEN = time(7)
ONE_DAY = timedelta(days=1)

GOOD: Mapping[str, Any] = {
    "sleep": {"hours": 8, "quality": 4},
    "fatigue": 2,
    "stress": 2,
    "pain": [],
    "illness": "none",
    "warning_signs": [],
}
"""A good morning: what is not told of a check-in is as here."""

TOLD = frozenset(
    {
        "id",
        "case",
        "date",
        "athlete",
        "earlier",
        "sessions",
        "cleared",
        "ordered",
        "confirmed",
        "reported_at",
        "check_in",
        "expect",
        "otherwise",
    }
)
EXPECTED = frozenset(
    {
        "verdict",
        "rule",
        "blocks",
        "notes",
        "notes_not",
        "notes_only",
        "limits",
        "first",
        "offers",
        "offers_not",
        "offers_effort",
        "says",
        "says_not",
        "spoken",
        "would_change_not",
        "opens_at",
    }
)


@dataclass(frozen=True, slots=True)
class Case:
    """One morning of a golden file: the words of the file, and the rule set that decides it."""

    version: str
    told: Mapping[str, Any]

    @property
    def id(self) -> str:
        """The short name."""
        return str(self.told["id"])

    @property
    def day(self) -> date:
        """The date of the morning."""
        return date.fromisoformat(self.told.get("date", DAY.isoformat()))

    @property
    def expect(self) -> Mapping[str, Any]:
        """What the file expects."""
        expect: Mapping[str, Any] = self.told["expect"]
        return expect

    def athlete(self) -> Athlete:
        """The athlete: born on 2 April 1998 and trained, unless the case says otherwise."""
        usual = {"date_of_birth": "1998-04-02", "training_status": "trained"}
        who = {"id": self.id, "name": self.id, "time_zone": ZONE.key}
        return from_json(Athlete, who | usual | self.told.get("athlete", {}))


Step = Callable[[Diary], object]
"""An entry of a diary, to be posted at its hour."""


@cache
def read(file: Path) -> tuple[Case, ...]:
    """The cases of a golden file."""
    data = read_data(file)
    return tuple(Case(file.stem, told) for told in data["cases"])


CASES = [case for file in sorted(SEASON.glob("*.yaml")) for case in read(file)]
each_case = pytest.mark.parametrize("case", CASES, ids=lambda case: case.id)


# ---- from the words of the file to what the interface reads


def at_time(words: str, day: date) -> datetime:
    """A time where the athlete lives: ``18:00`` of a day, or ``2026-11-24 18:00``."""
    on, _, clock = words.rpartition(" ")
    return datetime.combine(date.fromisoformat(on) if on else day, time.fromisoformat(clock), ZONE)


def iso(words: str, day: date) -> str:
    return at_time(words, day).isoformat()


def check_in_of(case: Case, told: Mapping[str, Any], at: datetime) -> CheckIn:
    """A check-in as a good morning with what is different about it."""
    day = at.date()
    answered = {
        name: value for name, value in GOOD.items() if name not in told.get("left_open", ())
    }
    different = {name: value for name, value in told.items() if name != "left_open"}
    body = {**answered, **different, "athlete_id": case.id, "date": day.isoformat()}
    body["reported_at"] = at.isoformat()
    body["plan"] = [block_of(block, day) for block in told.get("plan", ())]
    if "last_trained" in told:
        body["last_trained"] = {
            group: {**last, "at": iso(last["at"], day)}
            for group, last in told["last_trained"].items()
        }
    return from_json(CheckIn, body)


def block_of(told: Mapping[str, Any], day: date) -> dict[str, Any]:
    starts_at = {"starts_at": iso(told["starts_at"], day)} if "starts_at" in told else {}
    return {**told, **starts_at}


def dates_of(told: Any) -> Iterator[date]:
    """The dates of a session: one, some, or every so many days from a first to a last."""
    if isinstance(told, Mapping):
        day, last = date.fromisoformat(told["first"]), date.fromisoformat(told["last"])
        while day <= last:
            yield day
            day += timedelta(days=told["every"])
        return
    yield from map(date.fromisoformat, [told] if isinstance(told, str) else told)


def mornings_of(words: str) -> Iterator[datetime]:
    """The times of an entry of ``earlier``: a date, dates ``to`` others, or a date and an hour."""
    if " to " in words:
        first, last = map(date.fromisoformat, words.split(" to "))
        for days in range((last - first).days + 1):
            yield datetime.combine(first + days * ONE_DAY, SEVEN, ZONE)
    elif " " in words:
        yield at_time(words, DAY)
    else:
        yield datetime.combine(date.fromisoformat(words), SEVEN, ZONE)


def steps_of(case: Case) -> Iterator[tuple[datetime, Step]]:
    """All that is posted before the morning, each with its time, in no order."""
    for words, told in case.told.get("earlier", {}).items():
        for at in mornings_of(words):
            yield at, methodcaller("post", check_in_of(case, told, at), at)
    for told in case.told.get("sessions", ()):
        for day in dates_of(told["dates"]):
            session = session_of(case, told, day)
            yield session.starts_at, methodcaller("log", session)
    for told in case.told.get("cleared", ()):
        at = at_time(told["at"], case.day)
        terms = from_json(ClearanceTerms, _without(told, "at", "by"))
        given = {one.name: getattr(terms, one.name) for one in fields(terms)}
        yield at, methodcaller("clear", at, ActorRole(told["by"]), **given)
    for told in case.told.get("ordered", ()):
        at = at_time(told["at"], case.day)
        restriction = from_json(Restriction, _without(told, "at", "by"))
        yield at, methodcaller("order", at, ActorRole(told["by"]), restriction)
    for words in case.told.get("confirmed", ()):
        at = at_time(words, case.day)
        yield at, methodcaller("confirm_correction", at)


def _without(told: Mapping[str, Any], *names: str) -> dict[str, Any]:
    return {name: value for name, value in told.items() if name not in names}


def session_of(case: Case, told: Mapping[str, Any], day: date) -> Session:
    done = {name: value for name, value in told.items() if name not in ("dates", "at")}
    body = {**done, "athlete_id": case.id, "starts_at": iso(told["at"], day)}
    return from_json(Session, body)


# ---- the answers


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    with Store.open(tmp_path_factory.mktemp("season") / "season.db") as store:
        yield store


def answer(store: Store, case: Case) -> Advice:
    """The advice on the morning of a case, after all that came before it."""
    diary = Diary(store, case.athlete(), case.version)
    for _, step in sorted(steps_of(case), key=itemgetter(0)):
        step(diary)
    at = at_time(case.told.get("reported_at", "07:00"), case.day)
    return diary.post(check_in_of(case, case.told["check_in"], at), at)


@each_case
def test_a_morning_of_the_season_is_answered_as_written(store: Store, case: Case) -> None:
    """What the file expects, and nothing of what it does not."""
    advice = answer(store, case)
    assert list(differences(case.expect, advice)) == []


def differences(expect: Mapping[str, Any], advice: Advice) -> Iterator[str]:
    """What of an advice is not as expected, in words."""
    yield from _decision_differences(expect, advice)
    yield from _note_differences(expect, advice)
    yield from _block_differences(expect, advice)
    yield from _word_differences(expect, advice)


def _decision_differences(expect: Mapping[str, Any], advice: Advice) -> Iterator[str]:
    if advice.verdict.value not in _any_of(expect["verdict"]):
        yield f"verdict: {advice.verdict.value}, expected {expect['verdict']}"
    rule = advice.rule.id if advice.rule else None
    if "rule" in expect and rule not in _any_of(expect["rule"]):
        yield f"rule: {rule}, expected {expect['rule']}"
    blocks = [block["verdict"] for block in to_json(advice)["blocks"]]
    if "blocks" in expect and blocks != expect["blocks"]:
        yield f"blocks: {blocks}, expected {expect['blocks']}"


def _any_of(expected: Any) -> list[Any]:
    return expected if isinstance(expected, list) else [expected]


def _note_differences(expect: Mapping[str, Any], advice: Advice) -> Iterator[str]:
    notes = {note.rule.id for note in advice.notes}
    missing = set(expect.get("notes", ())) - notes
    if missing:
        yield f"notes that are missing: {sorted(missing)}, told are {sorted(notes)}"
    unwanted = set(expect.get("notes_not", ())) & notes
    if unwanted:
        yield f"notes that should not be told: {sorted(unwanted)}"
    if "notes_only" in expect and notes != set(expect["notes_only"]):
        yield f"notes: {sorted(notes)}, expected only {expect['notes_only']}"


def _block_differences(expect: Mapping[str, Any], advice: Advice) -> Iterator[str]:
    blocks = to_json(advice)["blocks"]
    if "limits" in expect:
        limits = blocks[0]["limits"]
        told = {name: limits.get(name) for name in expect["limits"]}
        if told != expect["limits"]:
            yield f"limits: {limits}, expected {expect['limits']}"
    offers = [offer for block in blocks for offer in block["alternatives"]]
    if "first" in expect:
        first = offers[0] if offers else {}
        told = {name: first.get(name) for name in expect["first"]}
        if not first.get("within_limits") or told != expect["first"]:
            yield f"first alternative: {first}, expected {expect['first']}"
    offered = {offer.get(name) for offer in offers for name in ("goal", "modality")}
    if set(expect.get("offers", ())) - offered:
        yield f"offers: {sorted(map(str, offered))}, expected {expect['offers']}"
    if set(expect.get("offers_not", ())) & offered:
        yield f"offers: {sorted(map(str, offered))}, not expected {expect['offers_not']}"
    if "offers_effort" in expect and not all(offer.get("effort") for offer in offers):
        yield f"offers without effort: {offers}"
    if "opens_at" in expect:
        opens_at = advice.parts[0].opens_at
        if opens_at != at_time(expect["opens_at"], DAY):
            yield f"opens at: {opens_at}, expected {expect['opens_at']}"
    changes = {change.fact for part in advice.parts for change in part.would_change}
    changes |= {change.fact for part in advice.parts for change in part.would_change_together}
    invited = changes & set(expect.get("would_change_not", ()))
    if invited:
        yield f"would change: {sorted(invited)}"


def _word_differences(expect: Mapping[str, Any], advice: Advice) -> Iterator[str]:
    words = "\n".join(_words_of(advice))
    for said in expect.get("says", ()):
        if said.casefold() not in words.casefold():
            yield f"does not say {said!r}: {words}"
    for said in expect.get("says_not", ()):
        if said.casefold() in words.casefold():
            yield f"says {said!r}"
    if "spoken" in expect:
        line = spoken(advice)
        for said in expect["spoken"]:
            if said.casefold() not in line.casefold():
                yield f"does not speak {said!r}: {line}"


def _words_of(advice: Advice) -> Iterator[str]:
    yield advice.headline
    yield advice.reason
    yield advice.caution
    for part in advice.parts:
        yield part.reason
        yield part.caution
    for note in advice.notes:
        yield f"{note.reason} {note.caution}"


# ---- the file


@each_case
def test_a_case_holds_only_what_is_understood(case: Case) -> None:
    """A word misspelt in the file would otherwise be read as not told."""
    assert set(case.told) <= TOLD
    assert set(case.expect) <= EXPECTED
    check_in = check_in_of(case, case.told["check_in"], at_time("07:00", case.day))
    read = to_json(check_in)
    assert {*case.told["check_in"]} - {"left_open"} <= {*read, "plan"}
    for told, block in zip(case.told["check_in"].get("plan", ()), read["plan"], strict=True):
        assert set(told) <= set(block)


def test_no_two_cases_share_a_name_or_a_sentence() -> None:
    """Each can be counted."""
    for word in ("id", "case"):
        words = [case.told[word] for case in CASES]
        assert sorted(set(words)) == sorted(words)


@each_case
def test_the_rules_that_a_case_names_exist(case: Case) -> None:
    """A rule misspelt among those that must not be told would otherwise never be missed."""
    known = {rule.id for rule in advisor().library.get("baseline", case.version).rules} | {None}
    named = [*_any_of(case.expect.get("rule"))]
    for word in ("notes", "notes_not", "notes_only"):
        named += case.expect.get(word, ())
    assert set(named) <= known
