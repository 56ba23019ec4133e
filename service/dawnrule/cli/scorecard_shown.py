"""How does a person, a spreadsheet or a program read a scorecard?"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Iterator, Mapping

from tabulate import tabulate

from dawnrule.advice.proportion import Share
from dawnrule.advice.scorecard import Score, Scorecard
from dawnrule.cli.counted import counted

_ALL = "all mornings"
_HEADERS = ("Rule", "Fired", "Decided", "Trained", "Output held", "Sorer next day")
_SHARES_SHOWN = (("session", "done"), ("output", "held"), ("soreness_next_day", "rose"))
_CSV_HEADERS = ("rule", "share_of", "count", "of", "share", "low", "high", "why_none")


def scorecard_as_text(card: Scorecard) -> str:
    """A table with a line for each rule that fired, under that of all mornings."""
    named = card.rule_set.full_name
    if card.first is None:
        return f"{named}: no advice was given by it on these dates."
    mornings = counted(card.all_mornings.mornings, "morning")
    head = f"{named}: {mornings}, {card.first} to {card.last}"
    rows = [(_ALL, "", "", *_shown(card.all_mornings))]
    rows += [
        (rule.rule, _share(rule.fired), _share(rule.decided), *_shown(rule.after))
        for rule in card.rules
        if rule.fired.count
    ]
    silent = [rule.rule for rule in card.rules if not rule.fired.count]
    table = tabulate(rows, headers=_HEADERS, disable_numparse=True)
    return "\n\n".join(filter(None, (head, table, _never_fired(silent))))


def scorecard_as_csv(card: Scorecard) -> str:
    """A row for each share, of all mornings and of each rule (RFC 4180)."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(_CSV_HEADERS)
    for rule, what, share in _shares(card):
        writer.writerow(
            (rule, what, share.count, share.of, share.share, share.low, share.high, share.why_none)
        )
    return text.getvalue()


def scorecard_as_json(card: Scorecard) -> str:
    """Everything."""
    return json.dumps(card.to_plain(), indent=2, ensure_ascii=False)


SCORECARD_FORMATS: Mapping[str, Callable[[Scorecard], str]] = {
    "table": scorecard_as_text,
    "csv": scorecard_as_csv,
    "json": scorecard_as_json,
}


def _shares(card: Scorecard) -> Iterator[tuple[str, str, Share]]:
    for what, share in _after(card.all_mornings):
        yield _ALL, what, share
    for rule in card.rules:
        yield rule.rule, "fired", rule.fired
        yield rule.rule, "decided", rule.decided
        for what, share in _after(rule.after):
            yield rule.rule, what, share


def _after(score: Score) -> Iterator[tuple[str, Share]]:
    for outcome, shares in score.outcomes.items():
        for what, share in shares.items():
            yield f"{outcome} {what}", share


def _shown(score: Score) -> list[str]:
    return [_share(score.outcomes[outcome][what]) for outcome, what in _SHARES_SHOWN]


def _share(share: Share) -> str:
    """``7 of 12: 58 % (32-81)``; without the share where there are too few to claim one."""
    counted = f"{share.count} of {share.of}"
    if share.share is None or share.low is None or share.high is None:
        return counted
    return f"{counted}: {share.share:.0%} ({share.low:.0%} to {share.high:.0%})"


def _never_fired(rules: list[str]) -> str:
    return f"Never fired: {', '.join(rules)}" if rules else ""
