"""Golden decisions: the mornings that a coach wrote down, and the answers of each rule set.

The mornings stand in tests/golden/<rule set>-<version>.yaml, whose header explains their form. A
morning must be answered alike by every later version of its rule set, save for notes that the later
version's file says it adds.
The figures checked are those of the rule files (house policy and common practice, no source);
no paper is claimed for them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from itertools import zip_longest
from pathlib import Path
from typing import Any

import pytest

from dawnrule.facts.derive import MorningFacts, derive_facts
from dawnrule.i18n.resources import read_data, rules_folder
from dawnrule.model import FactDictionary, Facts, Verdict, Vocabulary
from dawnrule.model.entities import Athlete, CheckIn, History, Session, Sleep
from dawnrule.model.serialization import from_json, to_json
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.rules.evaluation.decision import DayDecision, Decision
from dawnrule.rules.loading.loader import load_rule_set
from dawnrule.rules.rule_set import RuleSet

GOLDEN = Path(__file__).resolve().parents[1] / "golden"
DATE = date(2026, 3, 9)
REPORTED_AT = datetime.combine(DATE, time(7), UTC)

MORNINGS_BEFORE = ("nights_before", "resting_hr_before", "hrv_before")
"""The short forms of the mornings before: one value a morning, the latest first."""

HISTORY = ("answers_before", "sessions")
"""What else is known of the days before, by how many days ago."""

OUTPUTS = ("held", "cut-short", "dropped")


@dataclass(frozen=True)
class Case:
    """One morning of a golden file and the answer that is expected."""

    rule_set: str
    sentence: str
    athlete: Mapping[str, Any]
    check_in: Mapping[str, Any]
    history: Mapping[str, Any]
    expect: Mapping[str, Any]


@cache
def said_in(file: Path) -> Mapping[str, Any]:
    """What a golden file says, which takes long to read."""
    said: Mapping[str, Any] = read_data(file)
    return said


def cases_of(file: Path) -> Iterator[Case]:
    """The cases of a golden file, each laid over the morning that it names."""
    data = said_in(file)
    for entry in data["cases"]:
        assert set(entry) <= {"case", "athlete", "morning", "check_in", "history", "expect"}, entry
        assert set(entry.get("history", ())) <= {*MORNINGS_BEFORE, *HISTORY}, entry
        assert set(entry["expect"]) <= {"verdict", "rule", "parts", "notes"}, entry
        morning = data["mornings"][entry["morning"]] if "morning" in entry else {}
        yield Case(
            rule_set=file.stem,
            sentence=entry["case"],
            athlete=entry.get("athlete", {}),
            check_in=full_check_in(morning | entry.get("check_in", {})),
            history=entry.get("history", {}),
            expect=entry["expect"],
        )


def full_check_in(short: Mapping[str, Any]) -> dict[str, Any]:
    """A golden check-in in the form of the interface: times of day and hours become times."""
    plan = [full_block(block) for block in short.get("plan", [])]
    first = plan[0].get("starts_at") if plan else None
    start = datetime.fromisoformat(first) if first else REPORTED_AT
    full = {
        "athlete_id": "golden",
        "date": DATE.isoformat(),
        "reported_at": REPORTED_AT.isoformat(),
        **short,
        "plan": plan,
    }
    if "last_trained" in short:
        full["last_trained"] = {
            group: {
                "at": (start - timedelta(hours=last["hours_before_plan"])).isoformat(),
                "goal": last["goal"],
            }
            for group, last in short["last_trained"].items()
        }
    return full


def full_block(block: Mapping[str, Any]) -> dict[str, Any]:
    """A golden block with its time of day as a time."""
    if "starts_at" not in block:
        return dict(block)
    start = datetime.combine(DATE, time.fromisoformat(block["starts_at"]), UTC)
    return {**block, "starts_at": start.isoformat()}


def full_sessions(short: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    """The golden sessions of a history in the form of the interface, one for each day named."""
    for session in short.get("sessions", ()):
        told = {word: value for word, value in session.items() if word not in ("days_ago", "at")}
        at = time.fromisoformat(session.get("at", "18:00"))
        days_ago = session["days_ago"]
        for days in days_ago if isinstance(days_ago, list) else [days_ago]:
            start = datetime.combine(DATE - timedelta(days=days), at, UTC)
            yield {"athlete_id": "golden", "starts_at": start.isoformat(), **told}


def mornings_before(short: Mapping[str, Any]) -> Iterator[CheckIn]:
    """The check-ins of a history, each with what its short forms say of that morning."""
    told = (short.get(word, ()) for word in MORNINGS_BEFORE)
    for days_ago, (hours, bpm, rmssd_ms) in enumerate(zip_longest(*told), start=1):
        yield CheckIn(
            "golden",
            DATE - timedelta(days=days_ago),
            plan=(),
            sleep=Sleep(hours),
            resting_hr_bpm=bpm,
            hrv_rmssd_ms=rmssd_ms,
        )
    for days_ago, answers in short.get("answers_before", {}).items():
        day = (DATE - timedelta(days=days_ago)).isoformat()
        yield from_json(CheckIn, {"athlete_id": "golden", "date": day, "plan": [], **answers})


def versions_in_order(files: Iterable[Path]) -> list[Path]:
    def name_and_version(file: Path) -> tuple[str, list[int]]:
        name, _, version = file.stem.rpartition("-")
        return name, [int(number) for number in version.split(".")]

    return sorted(files, key=name_and_version)


def cases_for(file: Path) -> Iterator[Case]:
    """The cases of a golden file, and those of earlier versions with the notes that it adds."""
    yield from cases_of(file)
    name = file.stem.rpartition("-")[0]
    added = notes_added_by(file)
    for earlier in GOLDEN_FILES[: GOLDEN_FILES.index(file)]:
        if earlier.stem.rpartition("-")[0] == name:
            for case in cases_of(earlier):
                expect = dict(case.expect)
                if "notes" in expect:
                    expect["notes"] = [*expect["notes"], *added.get(case.sentence, ())]
                yield replace(case, rule_set=file.stem, expect=expect)


def notes_added_by(file: Path) -> dict[str, list[str]]:
    """The notes that a version adds to mornings of earlier ones, by their sentences."""
    added: dict[str, list[str]] = {}
    for note, sentences in said_in(file).get("notes_added", {}).items():
        for sentence in sentences:
            added.setdefault(sentence, []).append(note)
    return added


def sentence_of(case: Case) -> str:
    return f"{case.rule_set}: {case.sentence}"


GOLDEN_FILES = versions_in_order(GOLDEN.glob("*.yaml"))
CASES = [case for file in GOLDEN_FILES for case in cases_for(file)]
each_file = pytest.mark.parametrize("file", GOLDEN_FILES, ids=lambda file: file.stem)


@cache
def rule_set_of(stem: str) -> RuleSet:
    name, _, version = stem.rpartition("-")
    return load_rule_set(rules_folder() / name / f"{version}.yaml")


@cache
def decider_of(stem: str) -> Decider:
    return Decider(rule_set_of(stem), FactDictionary.bundled())


def edition_of(stem: str) -> int:
    return rule_set_of(stem).edition(FactDictionary.bundled())


def morning_of(case: Case) -> MorningFacts:
    who = {"id": "golden", "name": "Golden", "time_zone": "UTC", **case.athlete}
    check_in = from_json(CheckIn, dict(case.check_in))
    athlete, edition = from_json(Athlete, who), edition_of(case.rule_set)
    return derive_facts(athlete, check_in, history_of(case), REPORTED_AT, edition)


def history_of(case: Case) -> History:
    sessions = (from_json(Session, session) for session in full_sessions(case.history))
    return History(tuple(mornings_before(case.history)), tuple(sessions))


def decide(case: Case) -> tuple[MorningFacts, DayDecision]:
    morning = morning_of(case)
    parts = [part.facts for part in morning.parts]
    return morning, decider_of(case.rule_set).decide(morning.day, parts, morning.blocks)


def rule_id(decision: Decision | DayDecision) -> str | None:
    return decision.deciding.id if decision.deciding else None


def notes_of(decision: DayDecision) -> set[str]:
    subjects = (decision.day, *decision.parts)
    return {rule.id for subject in subjects for rule in subject.fired if rule.is_note}


def of_day(case: Case, decision: DayDecision) -> tuple[dict[str, Any], dict[str, Any]]:
    """What is decided on the day and its notes, and what the case expects of that."""
    answer: dict[str, Any] = {"verdict": decision.verdict.value, "rule": rule_id(decision)}
    expected: dict[str, Any] = {word: case.expect[word] for word in ("verdict", "rule")}
    if "notes" in case.expect:
        answer["notes"] = sorted(notes_of(decision))
        expected["notes"] = sorted(case.expect["notes"])
    return answer, expected


def of_parts(
    case: Case, morning: MorningFacts, decision: DayDecision
) -> tuple[list[Any], list[Any]]:
    """What is decided on each part, and what the case expects of that; nothing if it is silent."""
    if "parts" not in case.expect:
        return [], []
    answer = [
        (part.block, part.muscle_group, decided.verdict.value, rule_id(decided))
        for part, decided in zip(morning.parts, decision.parts, strict=True)
    ]
    expected = [
        (part.get("block", 0), part["muscle_group"], part["verdict"], part["rule"])
        for part in case.expect["parts"]
    ]
    return sorted(answer, key=str), sorted(expected, key=str)


@pytest.mark.parametrize("case", CASES, ids=sentence_of)
def test_a_golden_morning_is_answered_as_written(case: Case) -> None:
    """The day, its notes and each part."""
    morning, decision = decide(case)
    day, expected_day = of_day(case, decision)
    parts, expected_parts = of_parts(case, morning, decision)
    assert (day, parts) == (expected_day, expected_parts)


@each_file
def test_a_golden_morning_says_nothing_that_is_lost_on_the_way(
    file: Path, subtests: pytest.Subtests
) -> None:
    """A word misspelt in the golden file would otherwise be read as not reported."""
    words = Vocabulary.bundled()
    for case in cases_of(file):
        with subtests.test(case.sentence):
            read = to_json(from_json(CheckIn, dict(case.check_in)))
            given = {name: value for name, value in case.check_in.items() if value != {}}
            assert read == given
            named = {*case.check_in.get("soreness", ()), *case.check_in.get("last_trained", ())}
            assert named <= set(words.muscle_groups)
            assert set(case.check_in.get("warning_signs", ())) <= set(words.warning_signs)
            assert {pain["kind"] for pain in case.check_in.get("pain", ())} <= set(words.pain_kinds)


@each_file
def test_a_golden_history_says_nothing_that_is_lost_on_the_way(
    file: Path, subtests: pytest.Subtests
) -> None:
    words = Vocabulary.bundled()
    for case in cases_of(file):
        for session in full_sessions(case.history):
            with subtests.test(case.sentence, starts_at=session["starts_at"]):
                assert to_json(from_json(Session, session)) == session
                assert session.get("output", OUTPUTS[0]) in OUTPUTS
                for block in session["blocks"]:
                    assert block["goal"] in words.goals
                    assert set(block.get("muscle_groups", ())) <= set(words.muscle_groups)


@each_file
def test_golden_mornings_hold_only_facts_that_the_dictionary_accepts(file: Path) -> None:
    dictionary = FactDictionary.bundled()
    refused = [
        (case.sentence, name, value)
        for case in cases_of(file)
        for facts in facts_of(morning_of(case))
        for name, value in facts.items()
        if not dictionary[name].accepts(value)
    ]
    assert refused == []


def facts_of(morning: MorningFacts) -> Iterator[Facts]:
    yield morning.day
    yield from (part.facts for part in morning.parts)


@each_file
def test_no_two_golden_mornings_share_a_sentence(file: Path) -> None:
    sentences = [case.sentence for case in cases_of(file)]
    assert sorted(sentences) == sorted(set(sentences))


@each_file
def test_notes_are_added_to_golden_mornings_that_expect_notes(file: Path) -> None:
    """A sentence misspelt would otherwise add nothing."""
    earlier = GOLDEN_FILES[: GOLDEN_FILES.index(file)]
    known = {c.sentence for one in earlier for c in cases_of(one) if "notes" in c.expect}
    assert set(notes_added_by(file)) <= known


@each_file
def test_every_rule_is_seen_at_work_in_a_golden_morning(file: Path) -> None:
    """A rule with a verdict must decide somewhere; a note must be expected somewhere."""
    expected = {id_ for case in cases_for(file) for id_ in _ids_expected(case.expect)}
    unseen = [rule.id for rule in rule_set_of(file.stem).rules if rule.id not in expected]
    assert unseen == []


def _ids_expected(expect: Mapping[str, Any]) -> Iterator[str | None]:
    yield expect["rule"]
    yield from expect.get("notes", ())
    yield from (part["rule"] for part in expect.get("parts", ()))


@pytest.mark.parametrize("sign", Vocabulary.bundled().warning_signs)
def test_a_warning_sign_turns_every_golden_morning_into_rest(sign: str) -> None:
    """Whatever else was reported or left out, the day and all its parts rest."""
    assert [sentence_of(c) for c in CASES if not rests_by_warning(alarmed(c, sign))] == []


def alarmed(case: Case, sign: str) -> Case:
    return replace(case, check_in={**case.check_in, "warning_signs": [sign]})


def rests_by_warning(case: Case) -> bool:
    _, decision = decide(case)
    subjects: tuple[Decision | DayDecision, ...] = (decision, *decision.parts)
    return all(
        subject.verdict is Verdict.REST and str(rule_id(subject)).startswith("warning-")
        for subject in subjects
    )
