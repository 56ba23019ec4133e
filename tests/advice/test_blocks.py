"""Verdicts, limits and sessions of blocks, and the notes and texts that go with them."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from dawnrule.advice.advisor import AdvisedMorning, Morning
from dawnrule.advice.composer import Composer
from dawnrule.advice.summary import spoken_caution, spoken_summary
from dawnrule.advice.translation import translate
from dawnrule.i18n.catalog import Texts, languages
from dawnrule.model import Verdict
from dawnrule.model.advice import Alternative, BlockAdvice, GivenNote, blocks_of
from dawnrule.model.concern_transitions import Actor, Opening, open_by
from dawnrule.model.concerns import ActorRole, ConcernKind, Restriction, Restrictions
from dawnrule.model.entities import Block, CheckIn, History, Pain, Sleep
from dawnrule.model.record import Record
from tests.factories import (
    DAY,
    KIM,
    NOW,
    baseline,
    baseline_advice,
    bundled_advisor,
    logged,
    morning,
    session,
)

RULE_SET = bundled_advisor().library.get("baseline", "2.0.0")
GROWTH = Block("hypertrophy", ("quadriceps",), sets=10, reps=10)
CHEST = Block("strength", ("chest",), sets=5, reps=5)
ALL_WELL: dict[str, Any] = {"pain": (), "illness": "none", "warning_signs": ()}


def advised(*plan: Block, history: History | None = None, **reported: Any) -> AdvisedMorning:
    check_in: CheckIn = morning(0, *plan, **reported)
    given = Morning(KIM, check_in, history or History(), NOW)
    return bundled_advisor().consider(given, RULE_SET, "advice-1")


def only_block(considered: AdvisedMorning) -> BlockAdvice:
    (block,) = considered.advice.blocks
    return block


def ways(block: BlockAdvice) -> list[str]:
    return [one.modality for one in block.alternatives if one.modality]


# ---- verdicts and limits


def test_a_block_has_the_most_protective_verdict_of_its_parts() -> None:
    squat = Block("strength", pattern="squat", sets=5)
    considered = advised(squat, soreness={"quadriceps": 9, "glutes": 0, "adductors": 0})
    parts = {part.muscle_group: part.verdict for part in considered.advice.parts}
    assert parts == {
        "quadriceps": Verdict.REST,
        "glutes": Verdict.TRAIN,
        "adductors": Verdict.TRAIN,
    }
    block = only_block(considered)
    assert (block.verdict, block.limits, block.limits_said) == (Verdict.REST, {}, ())
    assert block.rule is not None
    assert block.rule.id == "soreness-very-high"


def test_limits_are_given_in_numbers_and_in_words() -> None:
    block = only_block(advised(GROWTH, soreness={"quadriceps": 4}))
    assert block.limits == {
        "share_of_sets": 0.5,
        "sets_at_most": 5,
        "reps_in_reserve_at_least": 4,
        "no_failure": True,
    }
    assert block.limits_said[0] == "at most 5 of the 10 sets"


def test_what_a_clinician_allows_limits_the_block_it_lets_through() -> None:
    told = Restriction("surgery", Restrictions(effort_at_most=5.0, no_contact=True))
    opening = Opening(ConcernKind.RESTRICTION, restriction=told)
    known = open_by((), KIM.id, opening, Actor(ActorRole.CLINICIAN, DAY, NOW), "r-1")
    block = only_block(advised(CHEST, history=History(concerns=(known,)), **ALL_WELL))
    assert block.verdict is Verdict.TRAIN
    assert block.limits == {"effort_at_most": 5.0, "no_contact": True}
    said = ("effort of 5 of 10 at the most", "no contact and no risk of a knock")
    assert block.limits_said == said


def test_less_of_the_same_comes_first_where_the_rules_allow_it() -> None:
    considered = advised(GROWTH, soreness={"quadriceps": 4})
    first = only_block(considered).alternatives[0]
    assert first == Alternative(
        goal="hypertrophy",
        within_limits=True,
        sets=5,
        reps=10,
        reps_in_reserve=4,
        because="within these limits no rule speaks against it",
    )
    assert considered.advice.headline.startswith("Do less of the same (quadriceps): ")
    assert spoken_summary(considered.advice, Composer.bundled()).startswith("Do less of the same: ")


def test_what_no_limit_allows_is_a_swap() -> None:
    considered = advised(Block("strength", pattern="squat", sets=5), illness="above-neck")
    block = only_block(considered)
    assert block.limits_said == ("at most 45 min", "effort of 3 of 10 at the most")
    assert not block.does_less
    assert considered.advice.headline.startswith("Swap to low-damage work")


# ---- sessions in place of a block


def test_each_session_states_how_much_how_hard_and_why() -> None:
    block = only_block(advised(GROWTH, soreness={"quadriceps": 6}))
    swimming = next(one for one in block.alternatives if one.modality == "swimming")
    assert (swimming.goal, swimming.minutes, swimming.effort) == ("steady-endurance", 30, 3)
    assert swimming.because == "hardly any braking work, and it spares quadriceps"
    chest = next(one for one in block.alternatives if one.muscle_group == "chest")
    assert (chest.goal, chest.sets, chest.reps) == ("hypertrophy", 10, 10)
    assert chest.because == "no rule speaks against chest today"


def test_with_a_cold_neither_pool_nor_shared_gym_is_offered() -> None:
    block = only_block(advised(GROWTH, illness="above-neck", soreness={"quadriceps": 0}))
    assert "walking" in ways(block)
    assert {"swimming", "rowing", "sled-push"}.isdisjoint(ways(block))


def test_after_a_very_short_night_nothing_on_the_road_is_offered() -> None:
    block = only_block(advised(Block("intervals", modality="cycling", minutes=50), sleep=Sleep(3)))
    assert "walking" in ways(block)
    assert {"cycling", "swimming", "uphill-running"}.isdisjoint(ways(block))


def test_what_is_sore_is_spared() -> None:
    assert "walking" not in ways(
        only_block(advised(GROWTH, soreness={"quadriceps": 6, "calves": 6}))
    )


@pytest.mark.parametrize(
    "block", [Block("speed", ("hamstrings",)), Block("power", modality="jumping")]
)
def test_sprints_and_jumps_are_not_offered_for_other_muscles(block: Block) -> None:
    soreness = {"hamstrings": 6, "quadriceps": 6, "calves": 6, "glutes": 6}
    offered = only_block(advised(block, soreness=soreness)).alternatives
    assert offered
    assert not any(one.muscle_group or one.pattern for one in offered)


def test_an_easy_session_is_never_longer_than_the_planned_one() -> None:
    short = replace(GROWTH, minutes=15)
    block = only_block(advised(short, soreness={"quadriceps": 6}))
    assert all(one.minutes is None or one.minutes <= 15 for one in block.alternatives)


# ---- notes


def note_ids(considered: AdvisedMorning) -> list[str]:
    return [note.rule.id for note in considered.advice.notes]


def test_with_a_warning_sign_no_other_note_is_given() -> None:
    considered = advised(GROWTH, CHEST, warning_signs=("chest-pain",), sleep=Sleep(4, 1), fatigue=9)
    assert considered.advice.verdict is Verdict.REST
    assert note_ids(considered) == []


def test_notes_on_a_part_are_silent_where_its_block_rests() -> None:
    trained = advised(CHEST, pain=())
    resting = advised(CHEST, soreness={"chest": 9})
    assert "soreness-unknown" in note_ids(trained)
    assert "soreness-unknown" not in note_ids(resting)


def test_a_note_is_named_only_where_it_was_given_lately_and_has_not_changed() -> None:
    considered = advised(CHEST, **ALL_WELL)
    first = next(note for note in considered.advice.notes if note.rule.id == "soreness-unknown")
    assert first.reason
    assert first.caution
    yesterday = considered.advice.date - timedelta(days=1)
    same = History(given_notes=(GivenNote(first.rule.id, first.reason, yesterday),))
    again = advised(CHEST, history=same, **ALL_WELL)
    named = next(note for note in again.advice.notes if note.rule.id == "soreness-unknown")
    assert (named.caution, named.given_on) == ("", yesterday)
    other = History(given_notes=(GivenNote(first.rule.id, "Something else.", yesterday),))
    assert advised(CHEST, history=other, **ALL_WELL).advice == considered.advice


# ---- texts


def test_nothing_speaks_against_it_is_said_only_without_a_note_and_a_limit() -> None:
    good = {**ALL_WELL, "soreness": {"chest": 0}, "fatigue": 2, "stress": 2}
    well = advised(CHEST, sleep=Sleep(8, 4), **good)
    badly = advised(CHEST, sleep=Sleep(4.5, 4), **good)
    assert well.advice.reason == "Nothing that was reported speaks against it."
    assert badly.advice.reason != well.advice.reason
    assert "one-bad-sign" in note_ids(badly)


def test_a_day_off_stays_a_day_off() -> None:
    considered = advised(sleep=Sleep(3, 1), fatigue=9, illness="above-neck")
    assert considered.advice.headline == "Day off as planned."
    assert considered.advice.verdict is Verdict.TRAIN
    assert note_ids(considered)


def test_nothing_that_time_cannot_change_is_named_as_a_change() -> None:
    considered = advised(GROWTH, soreness={"quadriceps": 4}, stress=9, fatigue=9)
    (part,) = considered.advice.parts
    assert (part.would_change, part.would_change_together) == ((), ())


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("version", ["1.2.0", "2.0.0"])
def test_a_spoken_caution_keeps_every_sentence_that_sends_to_care(
    language: str, version: str
) -> None:
    texts = Texts.bundled(language)
    sends = (
        "get medical care",
        "clinician",
        "emergency",
        "do not train",
        "hör auf",
        "arzt",
        "notruf",
    )
    for rule in bundled_advisor().library.get("baseline", version).rules:
        caution = texts.of_rule(rule.caution)
        spoken = spoken_caution(caution, texts).casefold()
        for word in sends:
            assert spoken.count(word) == " ".join(caution.split()).casefold().count(word), rule.id


def test_a_phone_speaks_of_care_where_a_part_rests() -> None:
    pain = (Pain("left knee", "joint", ("quadriceps",)),)
    considered = advised(Block("strength", pattern="squat"), CHEST, pain=pain)
    assert "get medical care now" in spoken_summary(considered.advice, Composer.bundled())


# ---- records


def test_a_record_keeps_its_blocks_and_is_translated_with_them() -> None:
    considered = advised(GROWTH, CHEST, soreness={"quadriceps": 4})
    record = considered.record(decided_at=NOW, posted_by=None, supersedes=None)
    read = Record.from_text(record.to_canonical_json())
    assert read.advice == considered.advice
    assert translate(read, RULE_SET, Composer.of_records()) == considered.advice
    german = translate(read, RULE_SET, Composer.bundled("de")).blocks[0]
    assert german.limits == considered.advice.blocks[0].limits
    assert german.limits_said[0] == "höchstens 5 der 10 Sätze"
    assert german.alternatives[0].because == "innerhalb dieser Grenzen spricht keine Regel dagegen"


def test_a_record_from_before_there_were_blocks_gets_them_from_its_parts() -> None:
    sore = morning(0, GROWTH, soreness={"quadriceps": 4})
    considered = baseline_advice(sore, rule_set=baseline("1.2.0"))
    record = considered.record(decided_at=NOW, posted_by=None, supersedes=None)
    text = record.to_canonical_json()
    assert '"blocks"' not in text
    advice = Record.from_text(text).advice
    assert advice == considered.advice
    assert advice.blocks == blocks_of(advice.parts)
    assert advice.blocks[0].verdict is Verdict.SWAP


def test_a_run_that_is_cut_to_its_limits_is_decided_on_its_new_length() -> None:
    """The facts of the reduced plan count, kilometres among them."""
    run = Block("steady-endurance", modality="flat-running", kilometres=14, minutes=90)
    before = Block("steady-endurance", modality="flat-running", kilometres=6, minutes=40)
    days = (3, 6, 9, 12, 20, 27, 40, 60)
    history = logged(*(session(day, before, minutes=40.0) for day in days))
    soreness = dict.fromkeys(("quadriceps", "hamstrings", "glutes", "calves"), 0)
    block = only_block(advised(run, history=history, soreness=soreness, **ALL_WELL))
    assert block.rule is not None
    assert block.rule.id == "longest-run-doubled"
    first = block.alternatives[0]
    assert first.within_limits
    assert first.minutes == block.limits["minutes_at_most"]
