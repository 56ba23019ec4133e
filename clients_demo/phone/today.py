"""One athlete's advice for today: the requests that a phone automation makes.

This one file, with requests, is the whole client.
"""

from __future__ import annotations

import argparse
import json
import os
from datetime import date
from pathlib import Path
from urllib.parse import quote

import requests

PATIENCE_SECONDS = 30


def main() -> None:
    """Print today's advice as a sentence that can be spoken."""
    parser = _parser()
    arguments = parser.parse_args()
    if not arguments.url.startswith(("http://", "https://")):
        parser.exit(2, "--url must begin with http:// or https://, like http://127.0.0.1:8080\n")
    try:
        if arguments.check_in:
            post_check_in(arguments.url, arguments.athlete, arguments.check_in)
        print(advice_today(arguments.url, arguments.athlete))
    except requests.RequestException as error:
        parser.exit(2, f"{in_words(error)}\n")
    except FileNotFoundError:
        parser.exit(2, f"{arguments.check_in} cannot be read: there is no such file\n")
    except (OSError, ValueError) as error:
        parser.exit(2, f"{arguments.check_in} cannot be read: {error}\n")


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        description="Print one athlete's advice for today as a sentence that can be spoken.",
        epilog="The key is read from the environment variable DAWNRULE_KEY. "
        "Example: today.py a-03 --url http://127.0.0.1:8080 --check-in check_in.json",
    )
    parser.add_argument("athlete", help="the athlete's id, such as a-03")
    parser.add_argument("--url", required=True, help="where the service is")
    parser.add_argument(
        "--check-in",
        type=Path,
        metavar="FILE",
        help="send this check-in first (JSON); it is dated today unless it says a date",
    )
    return parser


def advice_today(url: str, athlete: str) -> str:
    """Return the sentence. Raises ``requests.RequestException``."""
    address = f"{url.rstrip('/')}/v1/athletes/{quote(athlete, safe='')}/advice/today.txt"
    response = requests.get(address, headers=_headers(), timeout=PATIENCE_SECONDS)
    response.raise_for_status()
    return response.text


def post_check_in(url: str, athlete: str, file: Path) -> None:
    """Send what the athlete answered this morning. Raises ``requests.RequestException``, and
    ``OSError`` or ``ValueError`` for a file that cannot be read."""
    text = file.read_text(encoding="utf-8")
    answers = json.loads(text)
    if not isinstance(answers, dict):
        raise json.JSONDecodeError("one object is wanted", text, 0)
    check_in = {"athlete_id": athlete, "date": date.today().isoformat()} | answers
    address = f"{url.rstrip('/')}/v1/check-ins"
    response = requests.post(address, json=check_in, headers=_headers(), timeout=PATIENCE_SECONDS)
    response.raise_for_status()


def in_words(error: requests.RequestException) -> str:
    """Say in one line why there is no advice."""
    if isinstance(error, requests.ConnectionError | requests.Timeout):
        return "No answer. Is the address right, and is the service running?"
    response = error.response
    if response is None or "problem+json" not in response.headers.get("Content-Type", ""):
        return f"No advice: {error}"
    problem = response.json()
    faults = [f"{fault['pointer']} {fault['detail']}" for fault in problem["errors"]]
    return "; ".join([f"{problem['title']}: {problem['detail']}", *faults])


def _headers() -> dict[str, bytes]:
    return {"Authorization": f"Bearer {os.environ.get('DAWNRULE_KEY', '').strip()}".encode()}


if __name__ == "__main__":
    main()
