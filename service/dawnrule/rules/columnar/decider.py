"""Column decider: the decisions of a rule set on very many mornings at once.

Protective rules are put in one order: by verdict, the most protective first, and within a verdict
as in the file. A rule's place in it is its rank. So a subject's deciding rule is the fired rule of
the lowest rank, and its verdict is that rule's; the rank after the last stands for no rule. Of
several parts, the one of the lowest rank gives its rule to a day without a rule of its own.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import compress, groupby
from operator import itemgetter
from typing import Any

import polars as pl

from dawnrule.model import FactDictionary, Scope, Verdict
from dawnrule.rules.columnar.expressions import expression
from dawnrule.rules.columnar.mornings import ChangedMorning, DecidedSubject
from dawnrule.rules.columnar.table import MorningTable, in_order
from dawnrule.rules.rule_set import Rule, RuleSet

_IS_PART = pl.col("part").is_not_null()
_ADVICE = ("position", "athlete_id", "date", "part", "block", "verdict", "rule_id")


class ColumnDecider:
    """A rule set compiled to columns."""

    def __init__(self, rule_set: RuleSet, dictionary: FactDictionary) -> None:
        self._rules = rule_set.rules
        self._by_block = rule_set.decides_by_block(dictionary)
        self._columns = [
            (expression(rule.when, dictionary) & (_IS_PART | (rule.scope == "day"))).alias(
                _fires(place)
            )
            for place, rule in enumerate(self._rules)
        ]
        ranked = sorted(
            (-rule.verdict.protection, place)
            for place, rule in enumerate(self._rules)
            if rule.verdict is not None
        )
        self._ranked = [place for _, place in ranked]

    def decide(self, table: MorningTable) -> ColumnDecisions:
        """Decide on a table's mornings. Only the facts that the rules test are read."""
        fired = table.frame.select(*_ADVICE, *self._columns)
        by_day, by_part = (self._first_fired(scope) for scope in ("day", "part"))
        subjects = fired.with_columns(rank=pl.min_horizontal(by_day, by_part)).collect().lazy()
        parts = subjects.filter(_IS_PART)
        days = subjects.filter(~_IS_PART).join(
            self._of_blocks(parts), on="position", how="left", maintain_order="left"
        )
        return ColumnDecisions(
            self._rules,
            days.with_columns(after=self._day_verdict())
            .with_columns(rule_after=self._id(self._day_rank()))
            .collect(),
            parts.with_columns(
                after=self._verdict(pl.col("rank")), rule_after=self._id(pl.col("rank"))
            ).collect(),
        )

    def _of_blocks(self, parts: pl.LazyFrame) -> pl.LazyFrame:
        """Find the lowest and the highest rank of a day's blocks; a block has the lowest of its
        parts where the rule set decides by block."""
        rank = pl.col("rank")
        if self._by_block:
            parts = parts.group_by("position", pl.coalesce("block", "part")).agg(rank.min())
        return parts.group_by("position").agg(most=rank.min(), least=rank.max())

    def _first_fired(self, scope: Scope) -> pl.Expr:
        """Find the lowest rank of the fired rules of a scope."""
        ranks = (
            pl.when(_fires(place)).then(_rank(rank))
            for rank, place in enumerate(self._ranked)
            if self._rules[place].scope == scope
        )
        return pl.coalesce(*ranks, self._no_rule)

    @property
    def _no_rule(self) -> pl.Expr:
        return _rank(len(self._ranked))

    def _day_verdict(self) -> pl.Expr:
        """Derive the verdict on a day, as ``decision.day_verdict`` does."""
        day, most, least = (self._verdict(pl.col(name)) for name in ("rank", "most", "least"))
        return (
            pl.when((day == Verdict.REST) | least.is_null())
            .then(day)
            .when(least == Verdict.REST)
            .then(pl.lit(Verdict.REST.value))
            .when(most == Verdict.TRAIN)
            .then(pl.lit(Verdict.TRAIN.value))
            .otherwise(pl.lit(Verdict.SWAP.value))
        )

    def _day_rank(self) -> pl.Expr:
        """Find the rank of the rule behind the day's verdict, as ``decision.day_decision`` does."""
        day_decides = self._verdict(pl.col("rank")) == pl.col("after")
        return (
            pl.when(day_decides & (pl.col("rank") < self._no_rule))
            .then("rank")
            .otherwise(pl.coalesce("most", self._no_rule))
        )

    def _verdict(self, rank: pl.Expr) -> pl.Expr:
        verdicts = [self._rules[place].verdict for place in self._ranked]
        return _named(rank, [*verdicts, Verdict.TRAIN])

    def _id(self, rank: pl.Expr) -> pl.Expr:
        return _named(rank, [*(self._rules[place].id for place in self._ranked), None])


@dataclass(frozen=True, slots=True)
class ColumnDecisions:
    """The decisions on a table's mornings, with the advice given then: ``verdict`` and ``rule_id``
    are from the advice, ``after`` and ``rule_after`` are decided now."""

    rules: tuple[Rule, ...]
    days: pl.DataFrame
    parts: pl.DataFrame

    def counts(self, scope: Scope, *columns: str) -> dict[tuple[Any, ...], int]:
        """Count the days, or parts, for each combination of values of some columns."""
        counted = self._subjects(scope).group_by(columns).len()
        return {row[:-1]: row[-1] for row in counted.iter_rows()}

    def fired(self) -> dict[str, int]:
        """Count, by rule, the days on which it fires, or the parts if it is a part rule."""
        return {
            rule.id: int(self._subjects(rule.scope)[_fires(place)].sum())
            for place, rule in enumerate(self.rules)
        }

    def changed(self) -> list[ChangedMorning]:
        """List the mornings whose decision differs from the advice, by date and athlete."""
        changed = pl.col("verdict") != pl.col("after")
        parts = self.parts.lazy().group_by("position").agg(parts_changed=changed.sum())
        days = self.days.lazy().join(parts, "position", how="left").sort("date", "athlete_id")
        names = ("athlete_id", "date", "verdict", "after", "rule_id", "rule_after")
        rows = days.filter(changed | (pl.col("parts_changed") > 0)).select(
            *names, pl.col("parts_changed").fill_null(0)
        )
        return [ChangedMorning(*row) for row in rows.collect().iter_rows()]

    def mornings(self) -> Iterator[tuple[DecidedSubject, ...]]:
        """Yield the decisions on each morning, in the order of the ledger: the day, then its
        parts."""
        names = ("position", "part", "after", "rule_after", *map(_fires, range(len(self.rules))))
        rows = pl.concat([self.days.lazy().select(names), self.parts.lazy().select(names)])
        for _, of_one in groupby(in_order(rows).collect().iter_rows(), key=itemgetter(0)):
            yield tuple(self._decided(*row) for row in of_one)

    def _subjects(self, scope: Scope) -> pl.DataFrame:
        return self.days if scope == "day" else self.parts

    def _decided(
        self, _position: int, _part: int | None, verdict: str, rule_id: str | None, *fires: bool
    ) -> DecidedSubject:
        return DecidedSubject(
            verdict, rule_id, tuple(rule.id for rule in compress(self.rules, fires))
        )


def _fires(place: int) -> str:
    """Name the column of a rule; no fact can have this name."""
    return f"rule {place}"


def _rank(rank: int) -> pl.Expr:
    return pl.lit(rank, pl.UInt32)


def _named(rank: pl.Expr, names: Sequence[str | None]) -> pl.Expr:
    return rank.replace_strict(range(len(names)), names, return_dtype=pl.String)
