"""Known defects of durable-rules 2.0.28, and that the engine module survives each.

Each test names one way in which the library, used as documented, crashes, hangs or answers wrongly.
Anything that could end the process runs in a process of its own.
"""

from __future__ import annotations

import ast
import math
import resource
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from itertools import product
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import durable_rules_engine as engine
import pytest

from dawnrule.errors import EngineFailure, RuleSetInvalid
from dawnrule.model import FactDefinition, FactDictionary, Facts
from dawnrule.rules.conditions import Condition, Operator, Test, all_of, any_of, at_least, none_of
from dawnrule.rules.engine import matcher as matcher_module
from dawnrule.rules.engine.encoding import HEAD
from dawnrule.rules.engine.matcher import Matcher
from dawnrule.rules.evaluation.decider import Decider
from tests.effort import tries
from tests.factories import a_rule, a_rule_set

SHIPPED = FactDictionary.bundled()
GOALS = SHIPPED["goal"].values
GROUPS = SHIPPED["muscle_group"].values


# ---- tools ----------------------------------------------------------------------------


def number_fact(name: str) -> FactDefinition:
    return FactDefinition(name, "number", "part", "none", "check-in", "A number.", name)


def word_fact(name: str, values: Sequence[str]) -> FactDefinition:
    return FactDefinition(
        name, "enumeration", "part", "none", "check-in", "A word.", name, values=tuple(values)
    )


def dictionary_of(*definitions: FactDefinition) -> FactDictionary:
    return FactDictionary({definition.name: definition for definition in definitions})


def fired(
    conditions: Iterable[Condition], facts: Facts, dictionary: FactDictionary = SHIPPED
) -> set[int]:
    """Return the places of the conditions that hold, by the engine and the evaluator alike."""
    rules = [a_rule(when, str(place)) for place, when in enumerate(conditions)]
    with closing(Decider(a_rule_set(rules), dictionary)) as decider:
        return {int(rule.id) for rule in decider.fired("part", facts)}


def survives(job: Callable[[], None]) -> bool:
    """Tell whether a job ends well in a process of its own, within ten minutes. All of them are
    forked from one that has imported this module and used no engine."""
    context = get_context("forkserver")
    context.set_forkserver_preload([__name__])
    process = context.Process(target=job)
    process.start()
    process.join(timeout=600)
    process.kill()
    process.join()
    return process.exitcode == 0


def memory() -> int:
    """Measure the most memory that this process ever held, in the system's unit."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


# ---- calls that are not made ------------------------------------------------------------


def test_no_host_timer_action_batch_chain_or_lease_is_ever_used() -> None:
    """Hosts abort under load, actions swallow exceptions, batches drop facts, leases run by the
    clock, chains loop: none can, where the six calls of the C module are all that is called."""
    called = {
        node.attr
        for node in ast.walk(ast.parse(Path(matcher_module.__file__).read_text("utf-8")))
        if isinstance(node, ast.Attribute)
        and isinstance(node.value, ast.Name)
        and node.value.id == "engine"
    }
    assert called == {
        "assert_fact",
        "complete_and_start_action",
        "create_ruleset",
        "delete_ruleset",
        "delete_state",
        "error",
        "start_action_for_state",
    }


# ---- states, threads, memory -------------------------------------------------------------


def _many_threads_on_one_decider() -> None:
    when = [Test("soreness", Operator.AT_LEAST, n) for n in range(11)]
    rules = [a_rule(condition, str(n)) for n, condition in enumerate(when)]
    with closing(Decider(a_rule_set(rules), SHIPPED)) as decider:

        def decide_often(first: int) -> None:
            for number in range(first, first + tries(300, 2_000)):
                assert len(decider.fired("part", {"soreness": number % 11})) == number % 11 + 1

        with ThreadPoolExecutor(8) as threads:
            list(threads.map(decide_often, range(8)))


def test_eight_threads_on_one_decider_get_their_own_answers() -> None:
    assert survives(_many_threads_on_one_decider)


def _fresh_states_in_which_nothing_fires() -> None:
    never = [a_rule(Test("soreness", Operator.ABOVE, 10))]
    for number in range(tries(100, 300)):
        with closing(Matcher(never, SHIPPED, "part")) as matcher:
            if number % 2:
                assert matcher.fired({"soreness": 3}) == frozenset()
            else:
                with pytest.MonkeyPatch.context() as patch:
                    patch.setattr(matcher, "_write", lambda facts: NOT_EVEN_THE_CANARY)
                    with pytest.raises(EngineFailure):
                        matcher.fired({})


NOT_EVEN_THE_CANARY = HEAD.replace("0.5", "0.0") + "}"


def test_a_state_in_which_nothing_fired_can_be_deleted() -> None:
    """In fresh memory the library frees what was never set, and crashes."""
    assert survives(_fresh_states_in_which_nothing_fires)


DECISIONS = tries(30_000, 200_000)
"""At a tenth of a kilobyte lost in each, the short run takes 3 % more memory."""


def _no_growth_over_many_decisions() -> None:
    rules = [a_rule(Test("sleep_hours", Operator.BELOW, hours), str(hours)) for hours in range(6)]
    with closing(Decider(a_rule_set(rules), SHIPPED)) as decider:
        for number in range(5_000):
            decider.fired("part", {"sleep_hours": number / 1e3})
        before = memory()
        for number in range(DECISIONS):
            decider.fired("part", {"sleep_hours": number / 1e4})
        assert memory() < before * 1.02


def test_no_memory_is_lost_over_tens_of_thousands_of_decisions() -> None:
    """Nor do as many different facts leave states behind: the library dies of 1,025."""
    assert survives(_no_growth_over_many_decisions)


def _no_growth_over_many_rule_sets(let_go: Callable[[Decider], None]) -> None:
    rules = a_rule_set(
        a_rule(Test("sleep_hours", Operator.BELOW, n / 10), str(n)) for n in range(100)
    )

    def compile_and_let_go(times: int) -> None:
        for _ in range(times):
            decider = Decider(rules, SHIPPED)
            assert len(decider.fired("part", {"sleep_hours": 5})) == 49
            let_go(decider)

    compile_and_let_go(20)
    before = memory()
    compile_and_let_go(tries(25, 100))
    assert memory() < before * 1.02


def _no_growth_when_closed() -> None:
    _no_growth_over_many_rule_sets(Decider.close)


def _no_growth_when_dropped() -> None:
    _no_growth_over_many_rule_sets(lambda decider: None)


@pytest.mark.parametrize("job", [_no_growth_when_closed, _no_growth_when_dropped])
def test_no_memory_is_lost_over_many_rule_sets(job: Callable[[], None]) -> None:
    assert survives(job)


def test_the_same_rules_can_be_compiled_again() -> None:
    rules = [a_rule(none_of(Test("goal", Operator.IN, GOALS[:3])))]
    for _ in range(3):
        with closing(Matcher(rules, SHIPPED, "part")) as matcher:
            assert matcher.fired({"goal": GOALS[5]}) == {"a-rule"}


# ---- limits --------------------------------------------------------------------------------


def _more_than_sixty_four_matches() -> None:
    hours = [n / 10 for n in range(200)]
    below = [Test("sleep_hours", Operator.BELOW, h) for h in hours]
    assert fired(below, {"sleep_hours": 0}) == set(range(1, 200))


def test_two_hundred_rules_can_fire_at_once() -> None:
    """The library has room for 64 matches of a fact; with more nothing fires (error 303)."""
    assert survives(_more_than_sixty_four_matches)


def _more_than_sixty_four_first_tests() -> None:
    hours = [n / 10 for n in range(1, 101)]
    both = [all_of(Test("sleep_hours", Operator.BELOW, h), _SORE) for h in hours]
    assert fired(both, {"sleep_hours": 0, "soreness": 0}) == set()
    assert fired(both, {"sleep_hours": 0, "soreness": 9}) == set(range(100))


_SORE = Test("soreness", Operator.ABOVE, 5)


def test_a_hundred_rules_can_come_half_true_at_once() -> None:
    """What counts against the 64 is not the rules that fire but the first tests that hold."""
    assert survives(_more_than_sixty_four_first_tests)


def _many_values_in_an_in() -> None:
    of_140 = all_of(Test("goal", Operator.IN, GOALS), Test("muscle_group", Operator.IN, GROUPS[1:]))
    rules = [a_rule(of_140, str(place)) for place in range(20)]
    with closing(Decider(a_rule_set(rules), SHIPPED)) as decider:
        for goal, group in product(GOALS, GROUPS):
            fired = decider.fired("part", {"goal": goal, "muscle_group": group})
            assert list(fired) == ([] if group == GROUPS[0] else rules)


def test_the_values_of_an_in_do_not_add_up() -> None:
    """A fact has one value, so an ``in`` matches once, however many values it has."""
    assert survives(_many_values_in_an_in)


def _many_values_that_begin_the_rules() -> None:
    dictionary = dictionary_of(number_fact("x"))
    tenths = [Test("x", Operator.IN, tuple(n + t / 10 for t in range(10))) for n in range(100)]
    assert fired(tenths, {"x": 77.7}, dictionary) == {77}
    too_many = Test("x", Operator.IN, tuple(range(401)))
    with pytest.raises(RuleSetInvalid):
        Matcher([a_rule(too_many)], dictionary, "part")


def test_a_hundred_rules_may_choose_from_a_thousand_values() -> None:
    """The library crashes or never returns when the 512th different test begins the rules."""
    assert survives(_many_values_that_begin_the_rules)


def _as_many_ins_as_a_rule_can_have() -> None:
    strange = dictionary_of(*(number_fact(f"fact_{n}") for n in range(14)))
    ins = [Test(name, Operator.IN, (n, n + 0.5, -1)) for n, name in enumerate(strange)]
    facts = {name: n for n, name in enumerate(strange)}
    assert fired([all_of(*ins[:13])], facts, strange) == {0}
    assert fired([all_of(*ins[:13])], facts | {"fact_12": 5}, strange) == set()
    with pytest.raises(RuleSetInvalid):
        Matcher([a_rule(all_of(*ins))], strange, "part")


def test_a_rule_may_join_thirteen_ins_and_is_refused_with_more() -> None:
    """The library has room for 31 marks of and and or in a rule (error 113)."""
    assert survives(_as_many_ins_as_a_rule_can_have)


def test_a_rule_with_more_than_sixty_four_alternatives_is_refused_by_name() -> None:
    either = any_of(*(Test("sleep_hours", Operator.BELOW, n / 10) for n in range(65)))
    with pytest.raises(RuleSetInvalid, match="rule many-ways"):
        Matcher([a_rule(either, "many-ways")], SHIPPED, "part")


def _many_different_first_conditions() -> None:
    is_exactly = [Test("sleep_hours", Operator.IS, n / 100) for n in range(1_000)]
    assert fired(is_exactly, {"sleep_hours": 7.77}) == {777}
    above = [Test("sleep_hours", Operator.ABOVE, n / 100) for n in range(1_000)]
    assert fired(above, {"sleep_hours": 7.77}) == set(range(777))


def test_a_thousand_rules_may_begin_with_different_tests() -> None:
    """The library crashes or never returns at the 512th."""
    assert survives(_many_different_first_conditions)


def _as_many_facts_as_are_taken() -> None:
    many = dictionary_of(*(number_fact(f"fact_{n}") for n in range(250)))
    conditions = [Test(name, Operator.IS, 1) for name in many]
    assert fired(conditions, dict.fromkeys(many, 1), many) == set(range(250))


def test_two_hundred_and_fifty_facts_can_be_tested() -> None:
    """The library crashes or fails at the 253rd key."""
    assert survives(_as_many_facts_as_are_taken)


def test_more_facts_than_the_library_has_room_for_are_refused() -> None:
    many = dictionary_of(*(number_fact(f"fact_{n}") for n in range(251)))
    rules = [a_rule(Test(name, Operator.IS, 1), name) for name in many]
    with pytest.raises(RuleSetInvalid, match="too many facts"):
        Matcher(rules, many, "part")


# ---- logic -----------------------------------------------------------------------------------


def test_a_rule_with_several_true_branches_fires_once() -> None:
    either = any_of(Test("soreness", Operator.ABOVE, 1), Test("soreness", Operator.ABOVE, 2))
    assert fired([either], {"soreness": 3}) == {0}


def test_absence_is_tested_without_the_librarys_endless_loop() -> None:
    absent = Test("soreness", Operator.REPORTED, False)
    assert fired([absent, none_of(absent)], {}) == {0}
    assert fired([absent, none_of(absent)], {"soreness": 0}) == {1}


def test_missing_facts_fail_every_test_and_pass_every_negated_one() -> None:
    tests = [
        Test("soreness", Operator.AT_LEAST, 3),
        Test("sleep_hours", Operator.BELOW, 6),
        Test("sleep_hours", Operator.IS, 6),
        Test("goal", Operator.IS, GOALS[0]),
        Test("goal", Operator.IN, GOALS),
        Test("fainting", Operator.IS, True),
        Test("fainting", Operator.IS, False),
    ]
    assert fired(tests, {}) == set()
    assert fired([none_of(test) for test in tests], {}) == set(range(len(tests)))


def test_deep_negation_comes_out_right() -> None:
    condition: Condition = at_least(1, Test("soreness", Operator.ABOVE, 2), _SORE)
    for _ in range(41):
        condition = none_of(condition)
    assert fired([condition], {"soreness": 3}) == set()
    assert fired([condition], {"soreness": 2}) == {0}
    assert fired([condition], {}) == {0}


# ---- names -----------------------------------------------------------------------------------


def _names_that_mislead_the_library() -> None:
    names = [
        "liquid",
        "costarring",
        "sid",
        "id",
        "$s",
        "$m",
        "$lt",
        "alive",
        "x.y",
        "",
        "x" * 99_999,
    ]
    strange = dictionary_of(*map(number_fact, names))
    conditions = [Test(name, Operator.IS, 1) for name in names]
    for place, name in enumerate(names):
        facts = dict.fromkeys(names, 0) | {name: 1}
        assert fired(conditions, facts, strange) == {place}


def test_names_that_share_a_hash_or_are_the_librarys_own_are_kept_apart() -> None:
    """To the library ``liquid`` and ``costarring`` are one name, and ``sid`` is its own."""
    assert survives(_names_that_mislead_the_library)


def _long_rule_ids() -> None:
    ids = ["r" * 100_000, "canary", '"}', ""]
    rules = [a_rule(_SORE, identifier) for identifier in ids]
    with closing(Matcher(rules, SHIPPED, "part")) as matcher:
        assert matcher.fired({"soreness": 9}) == set(ids)


def test_rule_ids_do_not_reach_the_library() -> None:
    assert survives(_long_rule_ids)


def test_the_names_that_are_sent_have_different_hashes() -> None:
    """FNV-1a, as the library counts it, over every name that can be sent."""
    sent = [f"{kind}{number}" for kind in "fhlr" for number in range(2_000)]
    own = ["sid", "id", "alive", "$s", "$m", "$or", "$and", "$ex", "$nex", "$forward", "$i"]
    own += ["$lt", "$lte", "$gt", "$gte", "$eq", "$neq", "$mt", "$imt", "$iall", "$iany"]
    own += ["$add", "$sub", "$mul", "$div", "$l", "$r", "all", "any", "pri", "count", "cap", "dist"]
    hashes = set(map(fnv_1a, [*sent, *own]))
    assert len(hashes) == len(sent) + len(own)


def fnv_1a(name: str) -> int:
    """Compute the 32-bit FNV-1a hash (Fowler, Noll and Vo; RFC 9923)."""
    value = 0x811C9DC5
    for byte in name.encode():
        value = (value ^ byte) * 0x01000193 % 2**32
    return value


# ---- values ----------------------------------------------------------------------------------


def _words_that_mislead_the_library() -> None:
    words = ["4", "4.0", "true", "", "x" * 70_000, "x" * 70_001, '"', "\\", "\0", "a", "ab", "é"]
    words += ["\ud800", "not-reported", "v0", "1.0e999"]
    strange = dictionary_of(word_fact("word", words))
    conditions = [Test("word", Operator.IS, word) for word in words]
    for place, word in enumerate(words):
        assert fired(conditions, {"word": word}, strange) == {place}
        others = [none_of(condition) for condition in conditions]
        assert fired(others, {"word": word}, strange) == set(range(len(words))) - {place}


def test_words_are_told_apart_whatever_they_look_like() -> None:
    """To the library '4' is above 3.5, the empty text equals all, and long texts run together."""
    assert survives(_words_that_mislead_the_library)


def test_text_is_not_taken_for_a_number() -> None:
    with closing(Matcher([a_rule(_SORE)], SHIPPED, "part")) as matcher:
        for value in ("9", "9.0", "true"):
            facts: dict[str, Any] = {"soreness": value}
            with pytest.raises(EngineFailure):
                matcher.fired(facts)


def _floats_are_exact() -> None:
    extreme = [0.0, 5e-324, 2.3e-308, 1e-300, 1e-7, 0.1, 6.1, 48.0, 1e15, 1e16, 1e22, 1e300, 9e307]
    values = [sign * value for value in extreme for sign in (1, -1)]
    strange = dictionary_of(number_fact("x"))
    operators = (Operator.IS, Operator.AT_LEAST, Operator.AT_MOST, Operator.ABOVE, Operator.BELOW)
    for threshold in values:
        tests = [Test("x", operator, threshold) for operator in operators]
        for value in (
            math.nextafter(threshold, -math.inf),
            threshold,
            math.nextafter(threshold, math.inf),
        ):
            fired([*tests, *(none_of(test) for test in tests)], {"x": value}, strange)


def test_numbers_are_compared_to_the_last_bit() -> None:
    """The decider raises where engine and evaluator differ, at each float beside a threshold."""
    assert survives(_floats_are_exact)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 1e308, 2**53 + 1, 10**400])
def test_a_number_that_the_library_cannot_hold_never_reaches_it(value: float) -> None:
    strange = dictionary_of(number_fact("x"))
    with (
        closing(Matcher([a_rule(Test("x", Operator.ABOVE, 0))], strange, "part")) as matcher,
        pytest.raises(EngineFailure),
    ):
        matcher.fired({"x": value})


# ---- after an error ----------------------------------------------------------------------------


@pytest.fixture
def sore() -> Iterator[Matcher]:
    with closing(Matcher([a_rule(_SORE)], SHIPPED, "part")) as matcher:
        yield matcher


@pytest.mark.parametrize("unreadable", ["", "{", '{"sid":"0","id":"0","alive":1e5}'])
def test_facts_that_the_library_cannot_read_are_an_error_and_the_next_decision_is_right(
    sore: Matcher, monkeypatch: pytest.MonkeyPatch, unreadable: str
) -> None:
    """There may be no state to delete then, which is one more error."""
    with monkeypatch.context() as patch:
        patch.setattr(sore, "_write", lambda facts: unreadable)
        with pytest.raises(EngineFailure):
            sore.fired({"soreness": 9})
    assert sore.fired({"soreness": 9}) == {"a-rule"}
    assert sore.fired({"soreness": 1}) == frozenset()


def test_a_decision_in_which_the_canary_does_not_fire_is_an_error(
    sore: Matcher, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The library reads 0.5 as 0 where the process's decimal sign is a comma."""
    misread = sore._write({"soreness": 9}).replace("0.5", "0.0")
    monkeypatch.setattr(sore, "_write", lambda facts: misread)
    with pytest.raises(EngineFailure, match="always fires"):
        sore.fired({"soreness": 9})


def test_what_an_interrupted_decision_left_behind_is_an_error_and_not_an_answer(
    sore: Matcher, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        patch.setattr(engine, "delete_state", _interrupted)
        with pytest.raises(KeyboardInterrupt):
            sore.fired({"soreness": 9})
    with pytest.raises(EngineFailure):
        sore.fired({"soreness": 1})
    assert sore.fired({"soreness": 1}) == frozenset()


def _interrupted(*_: object) -> None:
    raise KeyboardInterrupt


def test_an_engine_that_does_not_stop_firing_is_an_error(
    sore: Matcher, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(engine, "complete_and_start_action", lambda *_: '{"canary":{}}')
    with pytest.raises(EngineFailure):
        sore.fired({"soreness": 9})


def test_rules_that_the_library_cannot_read_are_an_error(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(matcher_module, "ALIVE", '{"$and":[{"$eq":{"alive":5e-1}}]}')
    with pytest.raises(EngineFailure):
        Matcher([a_rule(_SORE)], SHIPPED, "part")
