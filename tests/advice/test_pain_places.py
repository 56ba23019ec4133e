"""Places of pain in reasons and headlines: where it hurts, and nowhere else."""

from __future__ import annotations

from contextlib import closing
from dataclasses import replace

import pytest

from dawnrule.advice.comparison import compare_with
from dawnrule.advice.composer import HEADLINE_LENGTH, Composer
from dawnrule.advice.outlook import Outlook
from dawnrule.advice.summary import first_sentence
from dawnrule.advice.translation import translate
from dawnrule.model import FactDictionary, Modality, Verdict
from dawnrule.model.advice import Advice
from dawnrule.model.entities import Block, History, Pain
from dawnrule.rules.conditions import all_of
from dawnrule.rules.evaluation.decider import Decider
from tests.factories import (
    KIM,
    NOW,
    REST,
    advice_under,
    baseline_advice,
    bundled_advisor,
    deciding_baseline,
    morning,
    rule_named,
    when,
)

SQUAT = Block("strength", pattern="squat", modality="free-weights")
HINGE = Block("strength", pattern="hinge")
CHEST = Block("strength", ("chest",))
BACK = Pain("low back", "sharp", ("lower-back",))
KNEE = Pain("left knee", "joint", ("quadriceps",))
KNEE_ALONE = Pain("left knee", "joint")
AS_PAIN = "That counts as pain, not as soreness."
TITLE = "Joint, sharp or one-sided pain where the plan would train"


def advice_on(block: Block, *pain: Pain) -> Advice:
    return baseline_advice(morning(0, block, pain=pain)).advice


def reasons(advice: Advice) -> set[str]:
    return {advice.reason, *(part.reason for part in advice.parts)}


@pytest.mark.parametrize("block", [SQUAT, Block("intervals", modality="flat-running")])
def test_pain_where_the_load_passes_through_is_told_where_it_was_reported(block: Block) -> None:
    advice = advice_on(block, BACK)
    assert advice.verdict is Verdict.REST
    assert reasons(advice) == {f"Reported for low back: sharp pain. {AS_PAIN}"}
    assert advice.headline == f"Rest (low back): {TITLE}"


def test_a_place_that_names_no_muscle_group_is_not_told_as_pain_of_the_chest() -> None:
    advice = advice_on(CHEST, Pain("the old place", "joint"))
    assert reasons(advice) == {f"Reported for the old place: joint pain. {AS_PAIN}"}
    assert advice.headline == f"Rest (the old place): {TITLE}"


def test_a_knee_that_names_no_muscle_group_is_known_and_spares_what_it_does_not_bear() -> None:
    assert advice_on(CHEST, KNEE_ALONE).verdict is Verdict.TRAIN
    assert advice_on(SQUAT, KNEE_ALONE).verdict is Verdict.REST


def test_pain_at_the_muscle_that_is_planned_is_told_by_its_name() -> None:
    assert reasons(advice_on(Block("strength", ("quadriceps",)), KNEE)) == {
        f"Reported for quadriceps: joint pain. {AS_PAIN}"
    }


def test_each_part_of_a_block_tells_every_place_that_counts_for_it() -> None:
    advice = advice_on(HINGE, KNEE, BACK)
    by_group = {part.muscle_group: part.reason for part in advice.parts}
    assert by_group == {
        "hamstrings": f"Reported for left knee and low back: joint pain, sharp pain. {AS_PAIN}",
        "glutes": f"Reported for left knee and low back: joint pain, sharp pain. {AS_PAIN}",
        "lower-back": f"Reported for left knee and lower back: joint pain, sharp pain. {AS_PAIN}",
    }


def test_a_place_of_a_kind_that_the_rule_does_not_read_is_left_out() -> None:
    bruise = Pain("right thigh", "other", ("quadriceps",))
    assert reasons(advice_on(SQUAT, BACK, bruise)) == {
        f"Reported for low back: sharp pain. {AS_PAIN}"
    }


def test_what_is_spoken_of_a_place_does_not_end_within_it() -> None:
    advice = advice_on(SQUAT, Pain("Knee.  Since 3 days!\tLeft one.", "joint"))
    assert first_sentence(advice.reason) == "Reported for Knee Since 3 days Left one: joint pain."


def test_a_place_of_many_words_is_left_out_of_the_headline() -> None:
    headline = advice_on(CHEST, Pain("k" * HEADLINE_LENGTH, "joint")).headline
    assert headline == f"Rest: {TITLE}"


def test_braces_in_a_place_are_only_told() -> None:
    assert "{goal}" in advice_on(CHEST, Pain("{goal}", "joint")).reason


def test_a_rule_that_reads_more_than_pain_speaks_of_its_muscle_group() -> None:
    both = all_of(when("sharp_pain", "is", True), when("soreness", "at_least", 3))
    rule = rule_named("both", both, REST, reason="{muscle_group}: soreness {soreness}.")
    check_in = morning(0, SQUAT, pain=(BACK,), soreness={"quadriceps": 4})
    assert advice_under(rule, check_in=check_in).advice.reason == "Quadriceps: soreness 4."


def test_a_record_tells_the_place_in_every_language_and_beside_other_rules() -> None:
    considered = baseline_advice(morning(0, SQUAT, pain=(BACK,)))
    record = considered.record(decided_at=NOW, posted_by=None, supersedes=None)
    assert translate(record, deciding_baseline(), Composer.of_records()) == record.advice
    german = translate(record, deciding_baseline(), Composer.bundled("de"))
    assert german.reason.startswith("Low back: stechender Schmerz.")
    with closing(Decider(deciding_baseline(), FactDictionary.bundled())) as decider:
        beside = compare_with(
            record, None, deciding_baseline(), decider, Composer.bundled().wording
        )
    assert {subject.now.reason for subject in beside} == {record.advice.reason}


def test_a_record_of_a_time_when_load_passed_through_nothing_tells_what_counted_then() -> None:
    considered = baseline_advice(morning(0, SQUAT, pain=(KNEE, BACK)))
    record = considered.record(decided_at=NOW, posted_by=None, supersedes=None)
    parts = tuple(
        replace(part, facts={**part.facts, "sharp_pain": False}) for part in record.facts.parts
    )
    record = replace(record, facts=replace(record.facts, parts=parts))
    told = translate(record, deciding_baseline(), Composer.bundled())
    assert told.reason == f"Reported for quadriceps: joint pain. {AS_PAIN}"


def test_no_balanced_session_sends_load_through_what_hurts() -> None:
    words = Composer.bundled().vocabulary
    rules = bundled_advisor().library.what_if(deciding_baseline())
    check_in = morning(0, pain=(BACK,))
    outlook = Outlook.of(KIM, check_in, History(), rules, NOW, days=7)
    offered = {movement: pattern for movement, pattern, _ in outlook.balanced_session("strength")}
    assert (offered["squat"], offered["hinge"]) == (None, None)
    assert offered["press"] == words.patterns["horizontal-press"]


@pytest.mark.parametrize("pain", [BACK, KNEE])
def test_nothing_is_offered_instead_whose_load_passes_through_what_hurts(pain: Pain) -> None:
    words = Composer.bundled().vocabulary
    (hurt,) = pain.muscle_groups
    for part in advice_on(SQUAT, pain).parts:
        for way in part.alternatives:
            by = words.modalities.get(way.modality or "") or words.patterns[way.pattern or ""]
            trained = by.loads if isinstance(by, Modality) else by.muscle_groups
            assert hurt not in (*trained, *by.passes_through)
