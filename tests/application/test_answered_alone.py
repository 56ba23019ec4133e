"""A check-in of which nothing hangs on another is answered as in an empty database."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

from dawnrule.application.amendments import Amendment, submit_told, told_alone
from dawnrule.application.check_ins import CheckIns, Submission, Submitted
from dawnrule.errors import FieldError, InvalidInput
from dawnrule.model.entities import CheckIn, Pain
from dawnrule.model.serialization import to_json
from dawnrule.store import Store, Transaction
from tests.factories import DAY, GROWTH, KIM, NOW, bundled_advisor, deciding_baseline
from tests.property.athletes import morning

CHECK_INS = CheckIns(bundled_advisor(), deciding_baseline(), lambda: NOW, lambda: "unused")
SAID = CheckIn(KIM.id, DAY, (GROWTH,), fatigue=8)
MORNINGS = [
    *((one.athlete, one.check_in, one.now) for one in map(morning, range(20))),
    (KIM, replace(SAID, illness="fever"), NOW),
    (KIM, replace(SAID, pain=(Pain("left knee", "joint"),)), NOW),
    (KIM, replace(SAID, warning_signs=("head-injury",)), NOW),
]


def answer(step: Callable[[], Submitted]) -> Submitted | tuple[FieldError, ...]:
    try:
        return step()
    except InvalidInput as error:
        return error.errors


def test_it_is_answered_as_in_an_empty_database(store: Store) -> None:
    def answer_both(transaction: Transaction) -> None:
        for number, (given, check_in, now) in enumerate(MORNINGS):
            athlete = replace(given, id=f"a-{number}")
            told = replace(check_in, athlete_id=athlete.id)
            submission = Submission(now, None, f"c-{number}", f"v-{number}")
            transaction.athletes.put(athlete)
            stored = answer(partial(CHECK_INS.submit, transaction, told, submission))
            alone = answer(partial(CHECK_INS.answer_alone, athlete, told, submission))
            answered.append((stored, alone))

    answered: list[tuple[object, object]] = []
    store.write(answer_both)
    assert [alone for _, alone in answered] == [stored for stored, _ in answered]
    assert {type(stored) for stored, _ in answered} == {Submitted, tuple}


def test_what_a_row_was_loaded_as_is_taken_only_where_nothing_was_told_before(store: Store) -> None:
    form = to_json(SAID)
    told = Amendment(KIM.id, DAY, form, alone=SAID)
    assert told_alone(told) is SAID
    assert told_alone(replace(told, alone=None)) == SAID

    def stress_stays(transaction: Transaction) -> None:
        transaction.athletes.put(KIM)
        before = replace(SAID, fatigue=2, stress=9)
        CHECK_INS.submit(transaction, before, Submission(NOW, None, "c-1", "v-1"))
        submit_told(transaction, CHECK_INS, told, Submission(NOW, None, "c-2", "v-2"))
        stored = transaction.check_ins.latest(KIM.id, DAY)
        assert stored is not None
        assert stored.check_in == replace(SAID, stress=9)

    store.write(stress_stays)
