"""Canonical JSON is that of the reference library (RFC 8785), byte for byte."""

from __future__ import annotations

from typing import Any

import pytest
import rfc8785
from hypothesis import given, settings
from hypothesis import strategies as st

from dawnrule.model import Verdict
from dawnrule.model.serialization import canonical_json
from tests.effort import tries

_TEXT = st.text(st.characters(codec="utf-8"))
_NUMBERS = st.one_of(
    st.integers(-(2**53) + 1, 2**53 - 1),
    st.floats(allow_nan=False, allow_infinity=False),
    st.floats(-1000, 1000).map(lambda value: round(value, 2)),
    st.integers(-100, 100).map(float),
)
_VALUES = st.recursive(
    st.none() | st.booleans() | _NUMBERS | _TEXT,
    lambda inner: st.lists(inner) | st.dictionaries(_TEXT, inner),
    max_leaves=20,
)


@settings(max_examples=tries(150, 20_000))
@given(_VALUES)
def test_every_value_has_the_bytes_of_the_reference_library(value: Any) -> None:
    assert canonical_json(value) == rfc8785.dumps(value).decode()


@pytest.mark.parametrize(
    "value",
    [
        0.0,
        -0.0,
        1e-4,
        9.999e-5,
        1e-7,
        1e21,
        2.0**53,
        2.0**53 - 1,
        5e-324,
        0.1 + 0.2,
        333333333.3333332,
    ],
)
def test_numbers_at_the_edges_have_too(value: float) -> None:
    assert canonical_json([value]) == rfc8785.dumps([value]).decode()


def test_the_words_of_a_vocabulary_have_too() -> None:
    assert canonical_json({"verdict": Verdict.SWAP}) == '{"verdict":"swap-to-low-damage"}'


@pytest.mark.parametrize(
    ("value", "refusal"),
    [
        (float("nan"), rfc8785.FloatDomainError),
        (float("inf"), rfc8785.FloatDomainError),
        (2**53, rfc8785.IntegerDomainError),
        ("\ud800", rfc8785.CanonicalizationError),
        ({"\ud800": 1}, UnicodeEncodeError),
    ],
)
def test_what_has_no_canonical_form_is_refused_as_there(
    value: Any, refusal: type[Exception]
) -> None:
    with pytest.raises(refusal):
        rfc8785.dumps(value)
    with pytest.raises(refusal):
        canonical_json(value)
