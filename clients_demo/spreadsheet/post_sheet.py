"""What does the service say to each row of this morning's squad sheet?

It stands alone: this one file, with requests, is the whole client.
"""

from __future__ import annotations

import argparse
import csv
import io
import os
import sys
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import requests

ADDED_COLUMNS = ("verdict", "rule", "reason", "caution")
PATIENCE_SECONDS = 60
STATED_DELIMITER = "sep="


def main() -> None:
    """Post the sheet and write the verdicts beside its rows. Ends with 1 if rows were refused."""
    parser = _parser()
    arguments = parser.parse_args()
    sheet: Path = arguments.sheet
    out: Path = arguments.out or sheet.with_name(f"{sheet.stem}-verdicts.csv")
    try:
        data = sheet.read_bytes()
        results = post(arguments.url, data)
        write(out, with_verdicts(data, results))
    except requests.RequestException as error:
        parser.exit(2, f"{in_words(error)}\n")
    except OSError as error:
        parser.exit(2, f"{error.filename}: {error.strerror}\n")
    refusals = [line for result in results for line in refusals_of(result)]
    print(*refusals, f"{len(results)} rows read; the verdicts are in {out}", sep="\n")
    sys.exit(1 if refusals else 0)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        description="Post a squad's morning sheet (CSV) and write verdict, rule, reason and "
        "caution beside each row, into a new file.",
        epilog="The key is read from the environment variable DAWNRULE_KEY. "
        "Example: post_sheet.py squad.csv --url http://127.0.0.1:8080",
    )
    parser.add_argument("sheet", type=Path, help="the sheet, saved as CSV UTF-8")
    parser.add_argument("--url", required=True, help="where the service is")
    parser.add_argument("--out", type=Path, help="the new file (SHEET-verdicts.csv)")
    return parser


def post(url: str, sheet: bytes) -> list[dict[str, Any]]:
    """What became of each row, in order. Raises ``requests.RequestException``."""
    key = os.environ.get("DAWNRULE_KEY", "").strip()
    response = requests.post(
        f"{url.rstrip('/')}/v1/check-ins/batch",
        data=sheet,
        headers={"Authorization": f"Bearer {key}".encode(), "Content-Type": "text/csv"},
        timeout=PATIENCE_SECONDS,
    )
    answer = response.json()
    if "results" not in answer:
        raise requests.HTTPError(f"status {response.status_code}", response=response)
    results: list[dict[str, Any]] = answer["results"]
    return results


def with_verdicts(sheet: bytes, results: Sequence[Mapping[str, Any]]) -> Iterator[list[str]]:
    """The sheet's rows as they are, each with its answer beside it; blank rows stay blank."""
    beside = {result["row"]: answer_to(result) for result in results}
    rows = list(rows_of(sheet.decode("utf-8-sig")))
    yield [*rows[0], *ADDED_COLUMNS]
    for number, row in enumerate(rows[1:], start=2):
        padding = [""] * (len(rows[0]) - len(row))
        yield [*row, *padding, *beside.get(number, ())]


def rows_of(text: str) -> Iterator[list[str]]:
    """The cells of each row. A first line like ``sep=;`` is for the spreadsheet program."""
    if text.lower().startswith(STATED_DELIMITER):
        text = text.partition("\n")[2]
    header = text.partition("\n")[0]
    delimiter = max(",;\t", key=header.count)
    return csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)


def answer_to(result: Mapping[str, Any]) -> list[str]:
    """The cells that go beside a row; all blank for a row that was refused."""
    advice = result["advice"]
    if advice is None:
        return [""] * len(ADDED_COLUMNS)
    rule = advice["rule"]["id"] if advice["rule"] else ""
    return [advice["verdict"], rule, advice["reason"], advice["caution"]]


def refusals_of(result: Mapping[str, Any]) -> Iterator[str]:
    """Why a row was refused, a line for each column that is wrong."""
    problem = result["problem"]
    if problem is None:
        return
    for fault in problem["errors"]:
        column = fault["pointer"].removeprefix("/")
        yield f"row {result['row']}, {column}: {fault['detail']} (it says {fault['value']})"
    if not problem["errors"]:
        yield f"row {result['row']}: {problem['detail']}"


def write(out: Path, rows: Iterator[list[str]]) -> None:
    """With the mark by which spreadsheet programs know UTF-8."""
    with out.open("w", encoding="utf-8-sig", newline="") as file:
        csv.writer(file).writerows(rows)


def in_words(error: requests.RequestException) -> str:
    """Why there are no verdicts, in one line."""
    if isinstance(error, requests.ConnectionError | requests.Timeout):
        return "No answer. Is the address right, and is the service running?"
    response = error.response
    if response is None or "problem+json" not in response.headers.get("Content-Type", ""):
        return f"This is not an answer of the service: {error}"
    problem = response.json()
    return f"{problem['title']}: {problem['detail']}"


if __name__ == "__main__":
    main()
