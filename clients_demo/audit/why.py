"""The explanation of a piece of advice: inputs, rules with every number, and sources.

This one file, with requests, is the whole client.
"""

from __future__ import annotations

import argparse
import os
import textwrap
from collections.abc import Iterable, Iterator, Mapping
from typing import Any
from urllib.parse import quote

import requests

COLUMNS = 80
PATIENCE_SECONDS = 30
NAME_WIDTH, REPORTED_WIDTH = 17, 30
ORDERED = ("at_least", "at_most", "above", "below")


def main() -> None:
    """Print the explanation of a piece of advice."""
    parser = _parser()
    arguments = parser.parse_args()
    if not arguments.url.startswith(("http://", "https://")):
        parser.exit(2, "--url must begin with http:// or https://, like http://127.0.0.1:8080\n")
    try:
        advice_id = arguments.advice or advice_of(arguments.url, arguments.athlete, arguments.date)
        if advice_id is None:
            parser.exit(1, "There is no advice for that date: no check-in came.\n")
        record = get(arguments.url, "advice", advice_id)
    except requests.RequestException as error:
        parser.exit(2, f"{in_words(error)}\n")
    print("\n".join(explanation_lines(record)).lstrip())


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        description="Print why an advice was given: what was reported, the rules that applied with "
        "each condition, its value and its threshold, what nearly applied, and the sources.",
        epilog="The key is read from the environment variable DAWNRULE_KEY. "
        "Example: why.py a-03 2026-03-09 --url http://127.0.0.1:8080",
    )
    which = parser.add_mutually_exclusive_group(required=True)
    which.add_argument("athlete", nargs="?", help="the athlete's id, such as a-03")
    which.add_argument("--advice", metavar="ID", help="the id of an advice, instead of an athlete")
    parser.add_argument("date", nargs="?", default="today", help="YYYY-MM-DD (today)")
    parser.add_argument("--url", required=True, help="where the service is")
    return parser


def advice_of(url: str, athlete: str, date: str) -> str | None:
    """Return the id of the latest advice for a date, None when there was no check-in."""
    advice_id: str | None = get(url, "athletes", athlete, "advice", date)["advice_id"]
    return advice_id


def get(url: str, *path: str) -> dict[str, Any]:
    """Return the service's answer. Raises ``requests.RequestException``."""
    key = os.environ.get("DAWNRULE_KEY", "").strip()
    response = requests.get(
        "/".join([url.rstrip("/"), "v1", *(quote(step, safe="") for step in path)]),
        headers={"Authorization": f"Bearer {key}".encode()},
        timeout=PATIENCE_SECONDS,
    )
    response.raise_for_status()
    answer: dict[str, Any] = response.json()
    return answer


def explanation_lines(record: Mapping[str, Any]) -> Iterator[str]:
    """Yield the lines to print, none longer than ``COLUMNS``."""
    yield from _verdict(record)
    yield from _heading("What was reported")
    for name, value in _answers(record["check_in"]):
        yield from _entry(name, value, REPORTED_WIDTH)
    not_reported = ", ".join(record["advice"]["not_reported"])
    yield from _entry("not reported", not_reported or "-", REPORTED_WIDTH)
    yield from _heading("Rules that applied: [x] holds, [ ] does not")
    yield from _or_none(line for rule in record["rules"] for line in _fired(rule))
    yield from _heading("One number stood in the way of these")
    yield from _or_none(line for rule in record["rules"] for line in _near_misses(rule))


def _verdict(record: Mapping[str, Any]) -> Iterator[str]:
    advice, rule_set = record["advice"], record["advice"]["rule_set"]
    yield from _heading(f"{advice['athlete_id']} on {advice['date']}: {advice['verdict']}")
    yield from _entry("in short", advice["headline"])
    yield from _entry("deciding rule", advice["rule"]["id"] if advice["rule"] else "none")
    yield from _entry("reason", advice["reason"])
    yield from _entry("caution", advice["caution"])
    yield from _entry("advice", advice["advice_id"])
    yield from _entry("decided at", record["decided_at"])
    yield from _entry("supersedes", record["supersedes"] or "-")
    yield from _entry("superseded by", record["superseded_by"] or "-")
    yield from _entry("evaluated again", "the same" if record["reproduced"] else "NOT THE SAME")
    yield from _entry("rule set", f"{rule_set['name']} {rule_set['version']}, fingerprint")
    yield f"  {rule_set['digest']}"


def _fired(rule: Mapping[str, Any]) -> Iterator[str]:
    fired = [result for result in rule["results"] if result["fired"]]
    if not fired:
        return
    yield from _wrapped(f"{rule['id']}: {rule['title']}", "  ")
    for result in fired:
        decided = ", and decided there" if result["decided"] else ""
        yield from _wrapped(f"{rule['verdict']} for {_subject(result)}{decided}", "    ")
        yield from _conditions(result["conditions"], "      ")
    basis = rule["basis"]
    yield from _wrapped(f"Source ({basis['kind']}): {basis['source']}", "    ")
    if basis["note"]:
        yield from _wrapped(f"About it: {basis['note']}", "    ")
    yield from _wrapped(f"Wrong when: {rule['wrong_when']}", "    ")


def _conditions(condition: Mapping[str, Any], indent: str) -> Iterator[str]:
    """Yield a condition, with its parts indented below it."""
    mark = "[x]" if condition["holds"] else "[ ]"
    if "fact" in condition:
        yield from _wrapped(f"{mark} {_test(condition)}", indent)
        return
    kind = condition.get("signal") or condition["kind"].replace("_n_", f" {condition.get('n')} ")
    yield f"{indent}{mark} {kind}"
    for child in condition["children"]:
        yield from _conditions(child, f"{indent}    ")


def _test(test: Mapping[str, Any]) -> str:
    value = "not reported" if test["value"] is None else _text(test["value"])
    return (
        f"{test['fact']}: {value} ({test['operator'].replace('_', ' ')} {_text(test['threshold'])})"
    )


def _near_misses(rule: Mapping[str, Any]) -> Iterator[str]:
    for result in rule["results"]:
        for test in result["near_miss"]:
            if test["operator"] in ORDERED and test["value"] is not None:
                yield from _wrapped(f"{rule['id']} for {_subject(result)}: {test['said']}", "  ")


def _subject(result: Mapping[str, Any]) -> str:
    if result["block"] is None:
        return "the day"
    return f"block {result['block']}, {result['muscle_group'] or 'no muscle group'}"


def _answers(value: Any, name: str = "") -> Iterator[tuple[str, str]]:
    """Yield each answer with its name; nested names are joined with dots."""
    inner: Iterable[tuple[Any, Any]]
    if isinstance(value, dict):
        inner = value.items()
    elif isinstance(value, list) and any(isinstance(element, dict) for element in value):
        inner = enumerate(value)
    else:
        yield name, _text(value)
        return
    for step, element in inner:
        yield from _answers(element, f"{name}.{step}" if name else str(step))


def _text(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(map(str, value)) or "none"
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value).lower() if isinstance(value, bool) else str(value)


def _heading(words: str) -> list[str]:
    return ["", words, "-" * len(words)]


def _or_none(lines: Iterator[str]) -> Iterator[str]:
    yield next(lines, "  none")
    yield from lines


def _entry(name: str, value: str, width: int = NAME_WIDTH) -> list[str]:
    return _wrapped(f"{name:<{width}}{value}", "  ", hanging=width)


def _wrapped(text: str, indent: str, hanging: int = 4) -> list[str]:
    further_in = indent + " " * hanging
    return textwrap.wrap(text, COLUMNS, initial_indent=indent, subsequent_indent=further_in)


def in_words(error: requests.RequestException) -> str:
    """Say in one line why there is no explanation."""
    if isinstance(error, requests.ConnectionError | requests.Timeout):
        return "No answer. Is the address right, and is the service running?"
    response = error.response
    if response is None or "problem+json" not in response.headers.get("Content-Type", ""):
        return f"This is not an answer of the service: {error}"
    problem = response.json()
    return f"{problem['title']}: {problem['detail']}"


if __name__ == "__main__":
    main()
