"""Settings of the service: their defaults, and their values from the environment."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, fields
from difflib import get_close_matches
from enum import StrEnum
from pathlib import Path
from typing import Any, Self, TypeVar
from urllib.parse import urlsplit

from dawnrule.errors import FieldError, InvalidInput

T = TypeVar("T")

_READER = "reader"
_PREFIX = "DAWNRULE_"
_OF_OTHERS = {"DAWNRULE_KEY", "DAWNRULE_TESTS"}
"""Variables of the clients and of the tests, which may be set where the service starts."""

_ALL = "all"


class LogForm(StrEnum):
    """The form of the log: a line of JSON or of text for each request, or no requests at all."""

    JSON = "json"
    TEXT = "text"
    OFF = "off"


def _setting(default: T, reader: Callable[[str], T]) -> T:
    """Declare a setting; ``reader`` converts the text of its environment variable, or raises
    ``ValueError`` with what would be accepted."""
    declared: T = field(default=default, metadata={_READER: reader})
    return declared


def _whole(text: str) -> int:
    if not (text.isascii() and text.isdecimal()):
        raise ValueError("must be a whole number")
    return int(text)


def _positive(text: str) -> int:
    number = _whole(text)
    if number == 0:
        raise ValueError("must be at least 1")
    return number


def _yes_or_no(text: str) -> bool:
    if text not in ("yes", "no"):
        raise ValueError("must be yes or no")
    return text == "yes"


def _log_form(text: str) -> LogForm:
    if text not in set(LogForm):
        raise ValueError(f"must be one of {', '.join(LogForm)}")
    return LogForm(text)


def _hosts(text: str) -> tuple[str, ...]:
    """Split a list at its commas. A list of nothing is refused: it would let every name in."""
    if text.strip() == _ALL:
        return ()
    names = tuple(part.strip() for part in text.split(",") if part.strip())
    if not names:
        raise ValueError(f"must name at least one host, or be {_ALL}")
    return names


def _url(text: str) -> str | None:
    """Read where others reach the service, without a slash at the end."""
    if not text:
        return None
    url = urlsplit(text)
    is_plain = text.isascii() and text.isprintable() and " " not in text
    if not is_plain or url.scheme not in ("http", "https") or not url.hostname:
        raise ValueError("must be a URL like https://dawn.example")
    if url.query or url.fragment or url.username is not None:
        raise ValueError("must be a URL without a name, a query or a fragment")
    return text.rstrip("/")


def _path(text: str) -> Path | None:
    return Path(text) if text else None


@dataclass(frozen=True, slots=True)
class Settings:
    """The settings of one service. Each can be set by the environment variable ``DAWNRULE_`` and
    its name in capitals: ``DAWNRULE_DB``.

    ``rule_set`` (name@version) decides where none was activated. The body limits are per request;
    that of a batch is larger because it carries a whole squad. Rates per minute are counted in each
    process; 0 means no limit. ``proxies`` is the number of proxies in front of the service whose
    X-Forwarded-For is trusted; behind one, connections are not counted by address. ``hosts`` are
    the host names that the service answers to; an empty tuple means all. ``public_url`` is where
    others reach the service. Data older than ``retention_days`` is deleted; 0 keeps everything. The
    newest head of the logbook is appended to ``heads_file`` daily.
    """

    db: Path = _setting(Path("dawnrule.db"), Path)
    host: str = _setting("127.0.0.1", str)
    port: int = _setting(8080, _whole)
    threads: int = _setting(4, _whole)
    rule_set: str = _setting("baseline@2.0.0", str)
    body_limit_bytes: int = _setting(1_000_000, _whole)
    batch_body_limit_bytes: int = _setting(5_000_000, _whole)
    batch_row_limit: int = _setting(5_000, _whole)
    key_requests_per_minute: int = _setting(6_000, _whole)
    private_address_requests_per_minute: int = _setting(120, _whole)
    sign_in_tries_per_minute: int = _setting(10, _whole)
    wrong_guesses_per_minute: int = _setting(20, _whole)
    connections_per_address: int = _setting(100, _whole)
    proxies: int = _setting(0, _whole)
    hosts: tuple[str, ...] = _setting((), _hosts)
    public_url: str | None = _setting(None, _url)
    log: LogForm = _setting(LogForm.JSON, _log_form)
    metrics_open: bool = _setting(False, _yes_or_no)
    free_disk_megabytes: int = _setting(100, _whole)
    stop_seconds: int = _setting(10, _whole)
    backup_folder: Path | None = _setting(None, _path)
    backup_every_hours: int = _setting(24, _positive)
    backup_keep: int = _setting(14, _positive)
    retention_days: int = _setting(0, _whole)
    heads_file: Path | None = _setting(None, _path)

    @classmethod
    def from_environment(cls, environment: Mapping[str, str] = os.environ) -> Self:
        """Read the settings from environment variables, and take the defaults of the others.
        Raises ``InvalidInput`` for a value that cannot be accepted, and for an unknown name: with a
        typing error in its name, a setting would silently keep its default."""
        refuse_unknown(environment)
        values: dict[str, Any] = {}
        for setting in fields(cls):
            name = variable(setting.name)
            if name in environment:
                values[setting.name] = _read(name, environment[name], setting.metadata[_READER])
        return cls(**values)


def variable(setting: str) -> str:
    """Name the environment variable of a setting: DAWNRULE_DB."""
    return f"{_PREFIX}{setting.upper()}"


def name_and_version(rule_set: str) -> tuple[str, str]:
    """Split ``baseline@1.0.0``; the version is empty if there is none."""
    name, _, version = rule_set.partition("@")
    return name, version


def refuse_unknown(environment: Mapping[str, str] = os.environ) -> None:
    """Raise ``InvalidInput`` for variables that look like ours and are not, each with the nearest
    that is. Their values are not told: they may be secret."""
    known = [variable(setting.name) for setting in fields(Settings)]
    ours = (name for name in sorted(environment) if name.upper().startswith(_PREFIX))
    faults = [
        FieldError(f"/{name}", None, f"is not known; did you mean {_nearest(name, known)}?")
        for name in ours
        if name not in _OF_OTHERS and name not in known
    ]
    if faults:
        named = (f"{fault.pointer[1:]} {fault.detail}" for fault in faults)
        raise InvalidInput("\n".join(named), faults)


def _nearest(name: str, known: Sequence[str]) -> str:
    [nearest] = get_close_matches(name.upper(), known, n=1, cutoff=0)
    return nearest


def _read(name: str, text: str, reader: Callable[[str], T]) -> T:
    try:
        return reader(text)
    except ValueError as error:
        detail = f"{name} {error}, not {text!r}."
        raise InvalidInput(detail, [FieldError(f"/{name}", text, str(error))]) from error
