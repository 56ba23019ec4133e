"""A rule set as one SQL query, for a cluster and for anybody's warehouse (pure).

The query reads a table of facts: a row for each day, whose ``part`` is NULL, and one for each part
of its plan, which repeats the day's facts. Its meaning is that of ``evaluation``. A fact that was
not reported is NULL, and each test of it is wrapped so that NULL never holds; only ``reported:
false`` asks for NULL. Values are compared in the dictionary's types, a number as DOUBLE.

Protective rules are put in one order: by verdict, the most protective first, and within a verdict
as in the file. A rule's number in it is its place. So a subject's deciding rule is the fired rule
of the lowest place, and its verdict is that rule's; the place after the last stands for no rule. Of
several parts, the one of the lowest place gives its rule to a day without a rule of its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Literal, TypeAlias

from sqlglot import exp

from dawnrule.model import FactDictionary, FactValue, Verdict
from dawnrule.model.fact_dictionary import FactType
from dawnrule.rules.conditions import (
    COMPARISONS,
    Condition,
    Group,
    GroupKind,
    Operator,
    Signal,
    Test,
)
from dawnrule.rules.rule_set import Rule, RuleSet

FACT_TYPES: dict[FactType, exp.DataType] = {
    "boolean": exp.DataType.build("BOOLEAN"),
    "enumeration": exp.DataType.build("TEXT"),
    "integer": exp.DataType.build("BIGINT"),
    "number": exp.DataType.build("DOUBLE"),
}
"""The column type of each type of the dictionary."""

_INTEGER, _TEXT = FACT_TYPES["integer"], FACT_TYPES["enumeration"]

COLUMN_TYPES: Mapping[str, tuple[exp.DataType, str]] = {
    "athlete_id": (_TEXT, "Who; no two people in the table share one."),
    "date": (exp.DataType.build("DATE"), "The date of the morning where the athlete is."),
    "part": (
        _INTEGER,
        "NULL in the row of the day; the parts of its plan are numbered from 0 on, through all "
        "blocks.",
    ),
    "block": (
        _INTEGER,
        "The number of the block that the part is of, from 0 on: the parts of one block share it. "
        "NULL in the row of the day. Where you do not know the blocks of a morning, NULL in all of "
        "its rows: each part then counts as a block.",
    ),
}
"""The columns beside the facts, with their types and meanings."""

NAMES_OF_A_ROW = (*COLUMN_TYPES, "muscle_group", "goal")
"""The columns by which people tell rows apart; two of them are facts."""

MORNING = ("athlete_id", "date")
"""The columns that name a morning: there is one for an athlete and date."""

SUBJECT = tuple(COLUMN_TYPES)

_IS_DAY = exp.column("part").is_(exp.null())
_own = exp.column("place", "placed")
_most, _least = exp.column("most", "days"), exp.column("least", "days")

Dialect: TypeAlias = Literal["duckdb", "spark", "postgres", "trino", "bigquery", "snowflake"]


def query(
    rule_set: RuleSet,
    dictionary: FactDictionary,
    table: str = "facts",
    carried: Mapping[str, str] = MappingProxyType({}),
) -> exp.Select:
    """Build the query that decides on every row of a table of facts.

    It gives the columns of ``SUBJECT``, the ``verdict``, the ``rule_id`` of the deciding rule, NULL
    for none, and a boolean column for each rule, named by ``column_of``: whether it fires; and
    other columns of the table under new names, which are the keys of ``carried``.
    """
    ranked = _ranked(rule_set)
    kept = (*SUBJECT, *carried)
    fired = [column_of(rule) for rule in rule_set.rules]
    by_block = rule_set.decides_by_block(dictionary)
    rule_id = _name_of("place", [rule.id for rule in ranked])
    return (
        exp.select(*kept, "verdict", rule_id.as_("rule_id"), *fired)
        .from_("decided")
        .with_("fires", as_=_fires(rule_set, dictionary, table, carried))
        .with_("placed", as_=_placed(ranked, (*kept, *fired)))
        .with_("blocks", as_=_blocks(by_block))
        .with_("days", as_=_days())
        .with_("decided", as_=_decided(ranked, kept, fired))
    )


def counts_of_verdicts(rule_set: RuleSet, dictionary: FactDictionary, table: str) -> exp.Select:
    """Build the query that counts the days, whose ``is_day`` is true, and the parts, by what was
    said of them then and by which rule (``said``, ``said_by``; the table's ``verdict`` and
    ``rule_id``), and what is decided now."""
    decided = query(rule_set, dictionary, table, {"said": "verdict", "said_by": "rule_id"})
    names = ("is_day", "said", "said_by", "verdict", "rule_id")
    is_day = _IS_DAY.as_("is_day")
    subjects = exp.select(is_day, *names[1:]).from_(decided.subquery("subjects"))
    counted = exp.select(*names, "COUNT(*) AS subjects").from_(subjects.subquery("counted"))
    return counted.group_by(*names)


def counts_of_fired(rule_set: RuleSet, dictionary: FactDictionary, table: str) -> exp.Select:
    """Build the query that counts in its one row, by rule, the days on which it fires, or the parts
    if it is a part rule."""
    counts = [
        exp.Sum(this=exp.case().when(fires, "1").else_("0")).as_(column_of(rule))
        for rule in rule_set.rules
        for column in [exp.column(column_of(rule))]
        for fires in [exp.and_(_IS_DAY, column) if rule.scope == "day" else column]
    ]
    return (
        exp.select(*counts).from_("fires").with_("fires", as_=_fires(rule_set, dictionary, table))
    )


def column_of(rule: Rule) -> str:
    """Name the column of a rule: its id, as a plain name that no other column has."""
    return "is_" + rule.id.replace("-", "_")


def facts_of_query(rule_set: RuleSet) -> tuple[str, ...]:
    """List the facts that the query reads, each once, in the file's order."""
    return tuple(dict.fromkeys(fact for rule in rule_set.rules for fact in rule.reads))


def columns_of_table(rule_set: RuleSet, dictionary: FactDictionary) -> dict[str, exp.DataType]:
    """List the columns that the table of facts must have, with their types: those of
    ``NAMES_OF_A_ROW``, then the other facts of the day and of parts, by name."""
    facts = {fact: FACT_TYPES[dictionary[fact].type] for fact in facts_of_query(rule_set)}
    types = {name: column_type for name, (column_type, _) in COLUMN_TYPES.items()} | facts
    others = sorted(types.keys() - NAMES_OF_A_ROW, key=lambda f: (dictionary[f].scope, f))
    return {name: types[name] for name in (*NAMES_OF_A_ROW, *others) if name in types}


def create_table(
    rule_set: RuleSet,
    dictionary: FactDictionary,
    table: str = "facts",
    notes: Mapping[str, str] = MappingProxyType({}),
) -> exp.Create:
    """Build the statement that makes the table of facts, without a row; ``notes`` on columns, by
    name, are written beside them."""
    columns = []
    for name, column_type in columns_of_table(rule_set, dictionary).items():
        column = exp.ColumnDef(this=exp.to_identifier(name), kind=column_type.copy())
        column.add_comments([notes[name]] if name in notes else None)
        columns.append(column)
    schema = exp.Schema(this=exp.to_table(table), expressions=columns)
    return exp.Create(this=schema, kind="TABLE")


def type_name(column_type: exp.DataType, dialect: Dialect) -> str:
    """Name a column's type as a database does."""
    return column_type.sql(dialect)


def _ranked(rule_set: RuleSet) -> list[Rule]:
    """List the rules with a verdict by their places."""
    rules = [rule for rule in rule_set.rules if rule.verdict is not None]
    return sorted(rules, key=lambda rule: -rule.verdict.protection if rule.verdict else 0)


def _fires(
    rule_set: RuleSet,
    dictionary: FactDictionary,
    table: str,
    carried: Mapping[str, str] = MappingProxyType({}),
) -> exp.Select:
    """Tell for each subject which rules fire; rules of parts do for no day."""
    is_part = exp.not_(_IS_DAY)
    others = [exp.column(column).as_(name) for name, column in carried.items()]
    conditions = [
        (condition if rule.scope == "day" else exp.and_(is_part, condition)).as_(column_of(rule))
        for rule in rule_set.rules
        for condition in [condition_sql(rule.when, dictionary)]
    ]
    return exp.select(*SUBJECT, *others, *conditions).from_(table)


def _placed(ranked: Sequence[Rule], kept: Sequence[str]) -> exp.Select:
    """Find the place of each subject's deciding rule."""
    place = exp.case()
    for number, rule in enumerate(ranked):
        place = place.when(exp.column(column_of(rule)), str(number))
    found = place.else_(str(len(ranked))) if ranked else exp.convert(0)
    return exp.select(*kept, found.as_("place")).from_("fires")


def _blocks(by_block: bool) -> exp.Select:
    """Find the lowest place of each block; by part where the rule set does not decide by block."""
    block = "COALESCE(block, part)" if by_block else "part"
    return (
        exp.select(*MORNING, f"{block} AS block", "MIN(place) AS place")
        .from_("placed")
        .where("NOT part IS NULL")
        .group_by(*MORNING, block)
    )


def _days() -> exp.Select:
    """Find the lowest and the highest place of a day's blocks."""
    places = ("MIN(place) AS most", "MAX(place) AS least")
    return exp.select(*MORNING, *places).from_("blocks").group_by(*MORNING)


def _decided(ranked: Sequence[Rule], kept: Sequence[str], fired: Sequence[str]) -> exp.Select:
    """Find the verdict and the place of the rule it is by: for a day as ``decision.day_decision``
    does, for a part its own."""
    verdict = _verdict(ranked)
    return (
        exp.select(
            *(f"placed.{name}" for name in kept),
            verdict.as_("verdict"),
            _place_of_day(ranked).as_("place"),
            *(f"placed.{name}" for name in fired),
        )
        .from_("placed")
        .join(
            "days",
            on=[
                "placed.part IS NULL",
                *(f"placed.{name} = days.{name}" for name in MORNING),
            ],
            join_type="left",
        )
    )


def _verdict(ranked: Sequence[Rule]) -> exp.Case:
    """Derive the verdict, as ``decision.day_verdict`` does; a part is a day without blocks."""
    rest, swap = _ends(ranked)
    alone = _least.is_(exp.null())
    return (
        exp.case()
        .when(_own < rest, exp.convert(Verdict.REST.value))
        .when(exp.and_(alone, _own < swap), exp.convert(Verdict.SWAP.value))
        .when(alone, exp.convert(Verdict.TRAIN.value))
        .when(_least < rest, exp.convert(Verdict.REST.value))
        .when(_most >= swap, exp.convert(Verdict.TRAIN.value))
        .else_(exp.convert(Verdict.SWAP.value))
    )


def _place_of_day(ranked: Sequence[Rule]) -> exp.Case:
    """Find the place of the rule behind the verdict: the subject's own rule where that asks for the
    verdict, else the first of the most protected part."""
    rest, swap = _ends(ranked)
    own_swaps = exp.and_(_most < swap, _own < swap, _least >= rest)
    own_trains = exp.and_(_most >= swap, _own >= swap, _own < len(ranked))
    return (
        exp.case()
        .when(exp.or_(_least.is_(exp.null()), _own < rest), _own)
        .when(exp.or_(own_swaps, own_trains), _own)
        .else_(_most)
    )


def _ends(ranked: Sequence[Rule]) -> tuple[exp.Expr, exp.Expr]:
    """Return the places after the last rule that rests and after the last that swaps."""
    protections = [rule.verdict.protection for rule in ranked if rule.verdict]
    rest, swap = (
        sum(one >= verdict.protection for one in protections)
        for verdict in (Verdict.REST, Verdict.SWAP)
    )
    return exp.convert(rest), exp.convert(swap)


def _name_of(column: str, names: Sequence[str]) -> exp.Expr:
    """Turn a place into a name; the place after the last has none."""
    if not names:
        return exp.cast(exp.null(), FACT_TYPES["enumeration"])
    found = exp.case(exp.column(column))
    for number, name in enumerate(names):
        found = found.when(exp.convert(number), exp.convert(name))
    return found.else_(exp.null())


def condition_sql(condition: Condition, dictionary: FactDictionary) -> exp.Expr:
    """Compile a condition to a boolean expression, never NULL, over a column for each fact that it
    tests."""
    match condition:
        case Test():
            return _test(condition, dictionary[condition.fact].type)
        case Signal(condition=inner):
            return condition_sql(inner, dictionary)
        case Group(conditions=conditions):
            return _group(condition, [condition_sql(inner, dictionary) for inner in conditions])


def _group(group: Group, several: Sequence[exp.Expr]) -> exp.Expr:
    match group.kind:
        case GroupKind.ALL:
            return exp.and_(*several) if several else exp.true()
        case GroupKind.ANY:
            return exp.or_(*several) if several else exp.false()
        case GroupKind.NONE:
            return exp.not_(exp.or_(*several)) if several else exp.true()
        case GroupKind.AT_LEAST:
            ones = [exp.case().when(one, "1").else_("0") for one in several]
            held: exp.Expr = ones[0]
            for one in ones[1:]:
                held = exp.Add(this=held, expression=one)
            return exp.Paren(this=held) >= group.needed


def _test(test: Test, of_type: FactType) -> exp.Expr:
    """Compile one test; for a fact that was not reported, only ``reported`` can be true."""
    fact = exp.column(test.fact)
    if test.operator is Operator.REPORTED:
        unknown = fact.is_(exp.null())
        return exp.not_(unknown) if test.value else unknown
    values = [_literal(value, of_type) for value in test.values]
    compared = fact.isin(*values) if len(values) > 1 else _compared(fact, test.operator, values[0])
    return exp.func("COALESCE", compared, exp.false())


def _compared(fact: exp.Column, operator: Operator, value: exp.Expr) -> exp.Expr:
    if operator not in COMPARISONS:  # IS, and IN with one value
        return fact.eq(value)
    found: exp.Expr = COMPARISONS[operator](fact, value)
    return found


def _literal(value: FactValue, of_type: FactType) -> exp.Expr:
    """Write a value; a number as a cast of its digits, which every database reads as the nearest
    DOUBLE, while a literal would be a DECIMAL to some."""
    if of_type == "number":
        return exp.cast(exp.Literal.string(repr(float(value))), FACT_TYPES["number"])
    return exp.convert(value)
