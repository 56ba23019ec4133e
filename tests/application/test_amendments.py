"""Amendments of check-ins: JSON Merge Patch, and dangers that join those told before."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from dawnrule.application.amendments import Amendment, merge_patch

ON = date(2026, 3, 9)


@pytest.mark.parametrize(
    ("target", "patch", "result"),
    [
        ({"a": "b"}, {"a": "c"}, {"a": "c"}),
        ({"a": "b"}, {"b": "c"}, {"a": "b", "b": "c"}),
        ({"a": "b"}, {"a": None}, {}),
        ({"a": "b", "b": "c"}, {"a": None}, {"b": "c"}),
        ({"a": ["b"]}, {"a": "c"}, {"a": "c"}),
        ({"a": "c"}, {"a": ["b"]}, {"a": ["b"]}),
        ({"a": {"b": "c"}}, {"a": {"b": "d", "c": None}}, {"a": {"b": "d"}}),
        ({"a": [{"b": "c"}]}, {"a": [1]}, {"a": [1]}),
        (["a", "b"], ["c", "d"], ["c", "d"]),
        ({"a": "b"}, ["c"], ["c"]),
        ({"a": "foo"}, None, None),
        ({"a": "foo"}, "bar", "bar"),
        ({"e": None}, {"a": 1}, {"e": None, "a": 1}),
        ([1, 2], {"a": "b", "c": None}, {"a": "b"}),
        ({}, {"a": {"bb": {"ccc": None}}}, {"a": {"bb": {}}}),
    ],
)
def test_the_examples_of_rfc_7396_come_out_as_its_appendix_says(
    target: Any, patch: Any, result: Any
) -> None:
    assert merge_patch(target, patch) == result


def test_dangers_join_those_that_were_told_before() -> None:
    shoulder = {"where": "Shoulder", "kind": "joint"}
    knee = {"where": "knee", "kind": "joint"}
    before = {"pain": [shoulder], "warning_signs": ["fainting"], "illness": "fever"}
    adds = {"pain": [knee], "warning_signs": ["chest-pain"], "illness": "above-neck"}
    after = Amendment("a-03", ON, {}, adds).applied_to(before)
    assert after == {
        "pain": [shoulder, knee],
        "warning_signs": ["fainting", "chest-pain"],
        "illness": "fever",
    }


def test_a_pain_at_the_same_place_takes_the_place_of_the_one_before() -> None:
    before = {"pain": [{"where": "Knee", "kind": "other"}]}
    after = Amendment("a-03", ON, {}, {"pain": [{"where": "knee", "kind": "sharp"}]})
    assert after.applied_to(before) == {"pain": [{"where": "knee", "kind": "sharp"}]}


def test_none_takes_back_what_was_told() -> None:
    before = {"pain": [{"where": "knee", "kind": "joint"}], "illness": "fever"}
    after = Amendment("a-03", ON, {"pain": [], "illness": "none"}).applied_to(before)
    assert after == {"pain": [], "illness": "none"}
