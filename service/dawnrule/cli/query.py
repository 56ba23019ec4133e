"""``dawnrule rules sql``: a rule set as a query for somebody's own warehouse."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import nullcontext
from pathlib import Path
from typing import get_args

import click

from dawnrule.cli.options import published_in_option, rule_set_named
from dawnrule.model import FactDictionary
from dawnrule.model.fact_dictionary import FactDefinition
from dawnrule.rules.query import (
    COLUMN_TYPES,
    FACT_TYPES,
    Dialect,
    facts_of_query,
    query,
    type_name,
)
from dawnrule.rules.rule_set import RuleSet
from dawnrule.store import Store

TABLE = "facts"

_NAMES: Mapping[Dialect, str] = {
    "duckdb": "DuckDB",
    "spark": "Apache Spark",
    "postgres": "PostgreSQL",
    "trino": "Trino",
    "bigquery": "BigQuery",
    "snowflake": "Snowflake",
}


def query_as_text(rule_set: RuleSet, dialect: Dialect, table: str = TABLE) -> str:
    """Write the query, under a comment that says what the table of facts must look like."""
    dictionary = FactDictionary.bundled()
    comment = "\n".join(f"-- {line}".rstrip() for line in _head(rule_set, dialect, table))
    return f"{comment}\n{query(rule_set, dictionary, table).sql(dialect, pretty=True)}"


def _head(rule_set: RuleSet, dialect: Dialect, table: str) -> Iterator[str]:
    dictionary = FactDictionary.bundled()
    yield f"{rule_set.full_name} ({rule_set.digest}) in the SQL of {_NAMES[dialect]}."
    yield ""
    yield f"It reads {table}: for each morning a row for the day, and one for each part of its plan"
    yield "that repeats the day's facts. An athlete has at most one morning a date. A fact that was"
    yield "not reported is NULL; no number is NaN. rules/facts.yaml says how each fact is measured."
    yield "The query needs all of these columns:"
    yield ""
    for name, (column_type, meaning) in COLUMN_TYPES.items():
        yield f"  {name} {type_name(column_type, dialect)}: {meaning}"
    for fact in facts_of_query(rule_set):
        definition = dictionary[fact]
        of_type = type_name(FACT_TYPES[definition.type], dialect)
        yield f"  {fact} {of_type}: {_of_scope(definition)}{_meaning(definition)}"
    yield ""
    yield "It gives those of athlete_id, date, part and block; the verdict on the day as a whole or"
    yield "on the part; rule_id, the rule that decided, NULL for none; and for each rule, as"
    yield "is_growth_work_too_soon for growth-work-too-soon, whether it fires."
    yield ""


def _of_scope(definition: FactDefinition) -> str:
    return "of a part; " if definition.scope == "part" else ""


def _meaning(definition: FactDefinition) -> str:
    if definition.values:
        return f"{definition.label}, one of {', '.join(definition.values)}"
    if definition.unit and definition.unit not in definition.label.split():
        return f"{definition.label}, {definition.unit}"
    return definition.label


@click.command()
@click.argument("named", metavar="FILE|NAME@VERSION")
@click.option(
    "--dialect",
    type=click.Choice(get_args(Dialect)),
    default="duckdb",
    show_default=True,
    help="Whose SQL.",
)
@published_in_option("The database where the rule set was published.")
def sql(named: str, dialect: Dialect, db: Path | None) -> None:
    """Print a rule set as a query for your own warehouse.

    The query decides on every row of a table of facts: the verdict, the rule that decided, and
    which rules fire, as the service would. It begins with a comment that says how the table must
    look. Reasons and cautions are not in it.

    \b
    Example:
      dawnrule rules sql baseline@2.0.0 --dialect snowflake
    """
    with Store.open(db, must_exist=True) if db else nullcontext() as store:
        rule_set = rule_set_named(named, store)
    click.echo(query_as_text(rule_set, dialect))
