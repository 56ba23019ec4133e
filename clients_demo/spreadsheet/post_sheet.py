"""The service's answer to each row of this morning's squad sheet.

This one file, with requests, is the whole client.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import requests

CSV = "text/csv"
MEDIA_TYPES = {
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    ".ods": "application/vnd.oasis.opendocument.spreadsheet",
}
"""Of a spreadsheet program's own files; any other file is sent as CSV."""

KINDS = ("check-ins", "sessions")
DATE_ORDERS = ("day-month-year", "month-day-year", "year-month-day")
PATIENCE_SECONDS = 60
SCHEMES = ("https://", "http://")
THIS_COMPUTER = ("localhost", "127.0.0.1", "::1")


@dataclass(frozen=True)
class Post:
    """A sheet to send: its destination, what its rows are, its media type, and what it does not say
    itself."""

    url: str
    kind: str
    sheet: bytes
    media_type: str
    options: Mapping[str, str | None]

    def answer(self, form: str) -> requests.Response:
        """Send the sheet and return the answer, as json or as a sheet (csv, xlsx).

        The same sheet may be sent repeatedly: nothing is stored twice. Raises
        ``requests.RequestException``.
        """
        key = os.environ.get("DAWNRULE_KEY", "").strip()
        return requests.post(
            f"{self.url.rstrip('/')}/v1/{self.kind}/batch",
            params={"format": form, **self.options},
            data=self.sheet,
            headers={
                "Authorization": f"Bearer {key}".encode(),
                "Content-Type": self.media_type,
            },
            timeout=PATIENCE_SECONDS,
        )


def main() -> None:
    """Post the sheet and save it with its answers. Exits with 1 if rows were rejected."""
    parser = _parser()
    arguments = parser.parse_args()
    sheet: Path = arguments.sheet
    form = "xlsx" if sheet.suffix.lower() == ".xlsx" else "csv"
    out: Path = arguments.out or sheet.with_name(f"{sheet.name}-verdicts.{form}")
    try:
        post = _post(arguments)
        outcomes = outcomes_in(post.answer("json"))
        out.write_bytes(post.answer(form).content)
    except requests.RequestException as error:
        parser.exit(2, f"{in_words(error)}\n")
    except ValueError as error:
        parser.exit(2, f"{error}\n")
    except OSError as error:
        parser.exit(2, f"{error.filename}: {error.strerror}\n")
    results = outcomes["results"]
    refusals = [*grouped(line for result in results for line in refusals_of(result))]
    print(*outcomes["sheet"]["remarks"], *refusals, sep="\n")
    print(f"{len(results)} rows read; the verdicts are in {out}")
    sys.exit(1 if refusals else 0)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        description="Post a squad's morning sheet and write verdict, rule, reason and caution "
        "beside each row, into a new file: an .xlsx sheet into one, any other into CSV.",
        epilog="The key is read from the environment variable DAWNRULE_KEY. "
        "Example: post_sheet.py squad.csv --url http://127.0.0.1:8080",
    )
    parser.add_argument("sheet", type=Path, help="the sheet: .xlsx, .ods or CSV")
    parser.add_argument("--url", required=True, help="where the service is")
    parser.add_argument(
        "--kind",
        choices=KINDS,
        default=KINDS[0],
        help="what a row is (check-ins, in whole or part)",
    )
    parser.add_argument("--out", type=Path, help="the new file (SHEET-verdicts)")
    parser.add_argument("--date-order", choices=DATE_ORDERS, help="how to read 04/05/2026")
    parser.add_argument("--sheet-name", help="which sheet of the file (the first that is shown)")
    return parser


def _address(given: str) -> str:
    """Return an address with its scheme. Without one, only this computer is asked, by http; the
    user decides how the key travels to any other. Raises ``ValueError``."""
    if given.startswith(SCHEMES):
        return given
    if urlsplit(f"//{given}").hostname in THIS_COMPUTER:
        return f"http://{given}"
    host = given.rpartition("://")[2] or "dawnrule.example.org"
    raise ValueError(f"{given} must begin with https://, like https://{host}")


def _post(arguments: argparse.Namespace) -> Post:
    sheet: Path = arguments.sheet
    options = {"date_order": arguments.date_order, "sheet": arguments.sheet_name}
    media_type = MEDIA_TYPES.get(sheet.suffix.lower(), CSV)
    return Post(_address(arguments.url), arguments.kind, sheet.read_bytes(), media_type, options)


def outcomes_in(response: requests.Response) -> dict[str, Any]:
    """Return the outcome of each row, in order. Raises ``requests.HTTPError`` if nothing was
    read."""
    outcomes: dict[str, Any] = response.json()
    if "results" not in outcomes:
        raise requests.HTTPError(f"status {response.status_code}", response=response)
    return outcomes


def refusals_of(result: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Yield the place of each fault of a row, and what is wrong there."""
    problem = result["problem"]
    if problem is None:
        return
    for fault in problem["errors"]:
        column = fault["pointer"].removeprefix("/")
        cell = fault.get("cell") or f"row {result['row']}"
        yield cell, f"{column}: {fault['detail']} (it says {fault['value']})"
    if not problem["errors"]:
        yield f"row {result['row']}", problem["detail"]


def grouped(refusals: Iterable[tuple[str, str]]) -> Iterator[str]:
    """Yield each cause once, with the places that it hits."""
    places: dict[str, list[str]] = {}
    for place, cause in refusals:
        places.setdefault(cause, []).append(place)
    for cause, hit in places.items():
        between = ": " if hit[0].startswith("row ") else ", "
        yield f"{', '.join(in_ranges(hit))}{between}{cause}"


def in_ranges(places: Iterable[str]) -> Iterator[str]:
    """Name places below one another by the first and the last: C2-C88."""
    below: dict[tuple[str, int], list[str]] = {}
    for order, place in enumerate(places):
        column = place.rstrip("0123456789")
        below.setdefault((column, int(place[len(column) :]) - order), []).append(place)
    for run in below.values():
        yield f"{run[0]}-{run[-1]}" if len(run) > 1 else run[0]


def in_words(error: requests.RequestException) -> str:
    """Say in one line why there are no verdicts."""
    if isinstance(error, requests.ConnectionError | requests.Timeout):
        return "No answer. Is the address right, and is the service running?"
    response = error.response
    if response is None or "problem+json" not in response.headers.get("Content-Type", ""):
        return f"This is not an answer of the service: {error}"
    problem = response.json()
    return f"{problem['title']}: {problem['detail']}"


if __name__ == "__main__":
    main()
