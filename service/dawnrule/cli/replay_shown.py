"""How does a person, a spreadsheet or a program read what a replay found?"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import fields
from typing import TypeAlias

from tabulate import tabulate

from dawnrule.advice.replay import Replayed
from dawnrule.advice.replays import replay_to_plain
from dawnrule.cli.counted import counted
from dawnrule.rules.columns import ChangedMorning
from dawnrule.store import StoredReplay
from dawnrule.vocabulary import Vocabulary

Row: TypeAlias = Sequence[object]

_NO_RULE = "-"


def replay_as_text(replay: StoredReplay, result: Replayed) -> str:
    """A line on the whole, and a table each of verdicts, rules, athletes and mornings."""
    mornings, decisions = counted(result.mornings, "morning"), counted(result.decisions, "decision")
    head = f"{replay.rule_set}: {mornings}, {decisions}"
    tables = (
        _table(("Said", "Would say", "Days", "Parts"), _verdicts(result)),
        _table(("Rule", "Decided", "Would decide", "Would fire"), _rules(result)),
        _table(("Athlete", "Less protected", "Same", "More protected"), _athletes(result)),
        _table(
            ("Athlete", "Date", "Said", "Would say", "By", "Would be by", "Parts changed"),
            map(_changed, result.changed),
        ),
    )
    return "\n\n".join([head, *filter(None, tables)])


def changes_as_csv(replay: StoredReplay, result: Replayed) -> str:
    """The mornings that come out otherwise (RFC 4180), and nothing else."""
    names = [field.name for field in fields(ChangedMorning)]
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(names)
    writer.writerows([getattr(one, name) for name in names] for one in result.changed)
    return text.getvalue()


def replay_as_json(replay: StoredReplay, result: Replayed) -> str:
    """Everything."""
    return json.dumps(replay_to_plain(replay) | result.to_plain(), indent=2, ensure_ascii=False)


REPLAY_FORMATS: Mapping[str, Callable[[StoredReplay, Replayed], str]] = {
    "table": replay_as_text,
    "csv": changes_as_csv,
    "json": replay_as_json,
}


def _table(headers: Sequence[str], rows: Iterator[Row]) -> str:
    listed = list(rows)
    return tabulate(listed, headers=headers) if listed else ""


def _verdicts(result: Replayed) -> Iterator[Row]:
    """Each pair of verdicts, told and now; those that stay the same first."""
    days, parts = result.counts["days"], result.counts["parts"]
    words = Vocabulary.shipped()
    for before, after in sorted(days | parts, key=lambda pair: (pair[0] != pair[1], pair)):
        pair = before, after
        yield words.label(before), words.label(after), days[pair], parts[pair]


def _rules(result: Replayed) -> Iterator[Row]:
    """Each rule that decided, would decide or would fire, by its id; no rule stands first."""
    counts = [result.counts[name] for name in ("decided_before", "decided_now", "fired")]
    for rule in sorted({rule or "" for count in counts for (rule,) in count}):
        yield rule or _NO_RULE, *(count[rule or None,] for count in counts)


def _athletes(result: Replayed) -> Iterator[Row]:
    counts = result.counts["athletes"]
    for who in sorted({who for who, _ in counts}):
        yield who, *(counts[who, how] for how in ("less", "same", "more"))


def _changed(one: ChangedMorning) -> Row:
    words = Vocabulary.shipped()
    return (
        one.athlete_id,
        one.date,
        words.label(one.before),
        words.label(one.after),
        one.rule_before or _NO_RULE,
        one.rule_after or _NO_RULE,
        one.parts_changed,
    )
