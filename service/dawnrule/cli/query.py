"""``dawnrule rules sql``: a rule set as a query for somebody's own warehouse."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Mapping
from contextlib import nullcontext
from pathlib import Path
from typing import get_args

import click

from dawnrule.cli.options import published_in_option, rule_set_named
from dawnrule.model import FactDictionary
from dawnrule.model.fact_dictionary import FactDefinition
from dawnrule.rules.query import (
    COLUMN_TYPES,
    NAMES_OF_A_ROW,
    Dialect,
    column_of,
    columns_of_table,
    create_table,
    query,
    type_name,
)
from dawnrule.rules.rule_set import RuleSet
from dawnrule.rules.serialization import in_flow
from dawnrule.store import Store

TABLE = "facts"

_LINE_WIDTH = 97  # behind the marks of a comment

_NAMES: Mapping[Dialect, str] = {
    "duckdb": "DuckDB",
    "spark": "Apache Spark",
    "postgres": "PostgreSQL",
    "trino": "Trino",
    "bigquery": "BigQuery",
    "snowflake": "Snowflake",
}


def query_as_text(rule_set: RuleSet, dialect: Dialect, table: str = TABLE) -> str:
    """Write the query, under a comment that says what its table of facts and its result are."""
    paragraphs = [
        _heading(rule_set, dialect),
        *_of_table(table),
        f"{table} must have these columns; dawnrule rules sql with --create-table prints the "
        "statement that makes it. If a column says 'Needs: …' and you lack that data, leave it "
        "NULL. vocabulary.yaml is a file of Dawnrule's rules; words stand in it in the order in "
        "which they are listed here.",
        *_of_columns(rule_set, dialect),
        *_of_result(rule_set, table),
    ]
    written = query(rule_set, FactDictionary.bundled(), table).sql(dialect, pretty=True)
    return f"{_as_comment(paragraphs)}\n{written}"


def table_as_text(rule_set: RuleSet, dialect: Dialect, table: str = TABLE) -> str:
    """Write the statement that makes the table of facts, with a note beside each column."""
    dictionary = FactDictionary.bundled()
    notes = {
        name: _note(dictionary[name])
        for name in columns_of_table(rule_set, dictionary)
        if name in dictionary
    }
    paragraphs = [
        _heading(rule_set, dialect),
        *_of_table(table),
        "What each column means stands above the query, which dawnrule rules sql prints without "
        "--create-table.",
    ]
    statement = create_table(rule_set, dictionary, table, notes).sql(dialect, pretty=True)
    return f"{_as_comment(paragraphs)}\n{statement};"


def _as_comment(paragraphs: Iterable[str]) -> str:
    """Write paragraphs as a comment, with an empty line behind each; indented lines stay so."""
    lines = (
        wrapped
        for paragraph in paragraphs
        for line in (*paragraph.splitlines(), "")
        for wrapped in _wrapped(line)
    )
    return "\n".join(f"-- {line}".rstrip() for line in lines)


def _wrapped(line: str) -> list[str]:
    indent = " " * (len(line) - len(line.lstrip()))
    return textwrap.wrap(
        line, _LINE_WIDTH, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False
    ) or [""]


def _heading(rule_set: RuleSet, dialect: Dialect) -> str:
    return f"{rule_set.full_name} in the SQL of {_NAMES[dialect]}\n{rule_set.digest}"


def _of_table(table: str) -> Iterator[str]:
    yield (
        f"A row of the table {table} is either the day of an athlete, where part is NULL, or one "
        "part of what is planned for that day. A plan is made of blocks, such as five sets of "
        "squats for growth, each with one goal. A part is one muscle group of a block; a block "
        "that names none is one part. So each morning has a row for its day and one for each part, "
        "and only that of the day where nothing is planned. No two rows have the same athlete_id, "
        "date and part. The row of a part repeats the facts of its day."
    )
    yield (
        "A fact that was not reported is NULL. Every test of it is false, except the test that it "
        "was not reported. Add the columns you have no data for, and leave them NULL. Where pain, "
        "illness or warning signs are NULL, nobody is told to rest for them. No number may be NaN: "
        "write NULL. Words are written as listed, in small letters."
    )


def _of_columns(rule_set: RuleSet, dialect: Dialect) -> Iterator[str]:
    """Yield a paragraph for each kind of column, with two lines for each column."""
    dictionary = FactDictionary.bundled()
    kinds: dict[str, list[str]] = {}
    for name, column_type in columns_of_table(rule_set, dictionary).items():
        about, meaning = [type_name(column_type, dialect)], COLUMN_TYPES.get(name, (None, ""))[1]
        if name in dictionary:
            about += _measured(dictionary[name])
            meaning = " ".join(_sentences(dictionary[name]))
        heading = _kind(name, dictionary)
        lines = kinds.setdefault(heading, [f"{heading}:"])
        lines += [f"  {name} {', '.join(about)}", f"    {meaning}"]
    yield from map("\n".join, kinds.values())


def _kind(name: str, dictionary: FactDictionary) -> str:
    if name in NAMES_OF_A_ROW:
        return "What names a row"
    if dictionary[name].scope == "part":
        return "Facts of a part, NULL in the row of the day"
    return "Facts of the day, the same in all rows of a morning"


def _measured(fact: FactDefinition) -> Iterator[str]:
    """Yield the unit and the range of a number."""
    if fact.is_numeric:
        within = f"{fact.least:.15g} to {fact.greatest:.15g}"
        if fact.unit and fact.unit != within:
            yield fact.unit
        yield within


def _sentences(fact: FactDefinition) -> Iterator[str]:
    """Say what a fact is, its words, when it is known, and with which numbers it is computed."""
    if fact.values:
        yield f"One of {', '.join(fact.values)}."
    yield fact.meaning
    if fact.minimum:
        yield f"Needs: {fact.minimum}."
    if fact.name in NAMES_OF_A_ROW:
        yield "NULL in the row of the day."
    if fact.parameters:
        yield f"Parameters: {in_flow(fact.parameters)}."


def _note(fact: FactDefinition) -> str:
    """Describe a column in few words."""
    words = [f"one of {', '.join(fact.values)}"] if fact.values else []
    about = ", ".join([fact.label, *_measured(fact), *words])
    return f"of a part: {about}" if fact.scope == "part" else about


def _of_result(rule_set: RuleSet, table: str) -> Iterator[str]:
    yield f"The query gives a row for each row of {table}, in no order, with these columns:"
    example = rule_set.rules[0]
    yield "\n".join(
        [
            f"  athlete_id, date, part, block: as in the row of {table}.",
            "  verdict: rest, swap-to-low-damage or train-as-planned. Where part is NULL it is the "
            "final verdict on the morning, made of the day and all of its parts: rest where a rule "
            "of the day says so or all blocks rest, train-as-planned where no block is held back, "
            "and else swap-to-low-damage. In the other rows it is the verdict on that part.",
            "  rule_id: the rule that decided; NULL where none did.",
            f"  {column_of(example)} for the rule {example.id}, and so on for each rule: whether "
            "it applies to the row, TRUE or FALSE.",
        ]
    )


@click.command()
@click.argument("named", metavar="FILE|NAME@VERSION")
@click.option(
    "--dialect",
    type=click.Choice(get_args(Dialect), case_sensitive=False),
    default="duckdb",
    show_default=True,
    help="Whose SQL.",
)
@click.option(
    "--create-table",
    "makes_table",
    is_flag=True,
    help="Print instead the statement that makes the table of facts.",
)
@published_in_option("The database where the rule set was published.")
def sql(named: str, dialect: Dialect, makes_table: bool, db: Path | None) -> None:
    """Print a rule set as a query for your own warehouse.

    The query decides on every row of a table of facts: the verdict, the rule that decided, and
    which rules fire, as the service would. It begins with a comment that says what the table must
    hold and what the result is; --create-table prints the statement that makes the table, empty.
    Reasons and cautions are not in it.

    \b
    Example:
      dawnrule rules sql baseline@2.0.0 --dialect snowflake
    """
    with Store.open(db, must_exist=True) if db else nullcontext() as store:
        rule_set = rule_set_named(named, store)
    click.echo((table_as_text if makes_table else query_as_text)(rule_set, dialect))
