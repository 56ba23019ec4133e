"""Answers and their schemas: the same members, the same nulls, the same bytes by either way."""

from __future__ import annotations

import json
from dataclasses import fields as members_of
from dataclasses import is_dataclass
from types import NoneType
from typing import Any, get_args, get_type_hints

import pytest
from marshmallow import Schema

from dawnrule.advice.explanation import FailedTest, RuleResult
from dawnrule.advice.outlook import LocalProspect, Movement, Need, OutlookReport
from dawnrule.model.advice import (
    Advice,
    Alternative,
    Change,
    NoAdvice,
    Note,
    PartAdvice,
    RuleName,
    RuleSetName,
)
from dawnrule.model.entities import RecordedAthlete
from dawnrule.model.record import Record, RecordedFacts, RecordedPart
from dawnrule.model.serialization import from_json, to_json
from dawnrule.schemas import record
from dawnrule.schemas.advice import (
    AdviceSchema,
    AlternativeSchema,
    ChangeSchema,
    MovementSchema,
    NeedSchema,
    NoteSchema,
    OutlookSchema,
    PartAdviceSchema,
    ProspectSchema,
    RuleNameSchema,
    RuleSetNameSchema,
)
from dawnrule.schemas.record import (
    AdviceRecordSchema,
    ExplainedAthleteSchema,
    MorningFactsSchema,
    PartFactsSchema,
    RuleResultSchema,
)
from tests.advice.test_translation import morning_of, rule_set_of
from tests.factories import bundled_advisor
from tests.golden.test_golden_decisions import CASES

FILES = sorted({case.rule_set for case in CASES})

ANSWERS = [
    (RuleName, RuleNameSchema),
    (RuleSetName, RuleSetNameSchema),
    (Change, ChangeSchema),
    (Alternative, AlternativeSchema),
    (Note, NoteSchema),
    (PartAdvice, PartAdviceSchema),
    (RecordedPart, PartFactsSchema),
    (RecordedFacts, MorningFactsSchema),
    (RecordedAthlete, ExplainedAthleteSchema),
    (Need, NeedSchema),
    (LocalProspect, ProspectSchema),
    (Movement, MovementSchema),
    (OutlookReport, OutlookSchema),
    (FailedTest, record.TestSchema),
    (RuleResult, RuleResultSchema),
]


def may_be_none(kind: type[Any]) -> dict[str, bool]:
    """Whether each member of a dataclass may be None."""
    assert is_dataclass(kind)
    hints = get_type_hints(kind)
    return {
        one.name: hints[one.name] is NoneType or NoneType in get_args(hints[one.name])
        for one in members_of(kind)
    }


def may_be_null(schema: type[Schema]) -> dict[str, bool]:
    """Whether each member of an answer may be null or left out."""
    return {
        field.attribute or name: field.allow_none or not field.required
        for name, field in schema().fields.items()
    }


@pytest.mark.parametrize(("kind", "schema"), ANSWERS)
def test_a_schema_has_the_members_and_the_nulls_of_its_dataclass(
    kind: type[Any], schema: type[Schema]
) -> None:
    assert may_be_null(schema) == may_be_none(kind)


def test_one_schema_answers_with_advice_and_without() -> None:
    given, missing = may_be_none(Advice), may_be_none(NoAdvice)
    assert may_be_null(AdviceSchema) == {name: given[name] or missing[name] for name in given}


def test_all_of_a_record_is_answered_but_the_rules_that_fired() -> None:
    """Those are answered rule by rule."""
    recorded, answered = may_be_none(Record), may_be_null(AdviceRecordSchema)
    del recorded["fired"]
    for explained in ("rules", "reproduced", "superseded_by"):
        del answered[explained]
    assert answered == recorded


@pytest.mark.parametrize("file", FILES)
def test_the_converter_writes_advice_byte_for_byte_as_its_schema(file: str) -> None:
    """A check-in is answered by the converter, which is faster."""
    schema = AdviceSchema()
    for case in (case for case in CASES if case.rule_set == file):
        advice = bundled_advisor().consider(morning_of(case), rule_set_of(case), "advice-1").advice
        assert json.dumps(to_json(advice)) == json.dumps(schema.dump(advice)), case.sentence
        assert from_json(Advice, to_json(advice)) == advice, case.sentence
