"""What can whoever runs the service choose, and what holds when they do not?"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from enum import StrEnum
from pathlib import Path
from typing import Any, NoReturn, Self, TypeAlias

from dawnrule.errors import FieldError, InvalidInput

Positive: TypeAlias = int
"""A whole number that is at least 1."""


class LogForm(StrEnum):
    """How the service logs: a line of JSON or of text for each request, or nothing of requests."""

    JSON = "json"
    TEXT = "text"
    OFF = "off"


@dataclass(frozen=True, slots=True)
class Settings:
    """The settings of one service; each may come from the environment as ``DAWNRULE_`` and its
    name in capitals, as in ``DAWNRULE_DB``.

    ``rule_set`` is the active one, as name@version. The body limits hold for one request; that
    of a batch is larger because it carries a whole squad. What is counted per minute is counted
    in one process; 0 is no limit. ``proxies`` is how many stand in front of the service and tell
    it, in X-Forwarded-For, whom they speak for. ``hosts`` are the names that the service answers
    to; none named means all. What is older than ``retention_days`` leaves; 0 keeps everything.
    """

    db: Path = Path("dawnrule.db")
    host: str = "127.0.0.1"
    port: int = 8080
    threads: int = 4
    rule_set: str = "baseline@1.2.0"
    body_limit_bytes: int = 1_000_000
    batch_body_limit_bytes: int = 5_000_000
    batch_row_limit: int = 5_000
    key_requests_per_minute: int = 6_000
    private_address_requests_per_minute: int = 120
    sign_in_tries_per_minute: int = 10
    wrong_guesses_per_minute: int = 20
    proxies: int = 0
    hosts: tuple[str, ...] = ()
    log: LogForm = LogForm.JSON
    metrics_open: bool = False
    free_disk_megabytes: int = 100
    stop_seconds: int = 10
    backup_folder: Path | None = None
    backup_every_hours: Positive = 24
    backup_keep: Positive = 14
    retention_days: int = 0

    @classmethod
    def from_environment(cls, environment: Mapping[str, str] = os.environ) -> Self:
        """Defaults, save what the environment says. Raises ``InvalidInput`` for what it cannot
        mean."""
        said: dict[str, Any] = {}
        for field in fields(cls):
            name = variable(field.name)
            if name in environment:
                said[field.name] = _READERS[str(field.type)](name, environment[name])
        return cls(**said)


def variable(setting: str) -> str:
    """The environment variable of a setting: DAWNRULE_DB."""
    return f"DAWNRULE_{setting.upper()}"


def name_and_version(rule_set: str) -> tuple[str, str]:
    """``baseline@1.0.0``, taken apart."""
    name, _, version = rule_set.partition("@")
    return name, version


def _whole(name: str, text: str) -> int:
    if text.isascii() and text.isdecimal():
        return int(text)
    return _refuse(name, text, "must be a whole number")


def _positive(name: str, text: str) -> int:
    return _whole(name, text) or _refuse(name, text, "must be at least 1")


def _yes_or_no(name: str, text: str) -> bool:
    if text not in ("yes", "no"):
        _refuse(name, text, "must be yes or no")
    return text == "yes"


def _log_form(name: str, text: str) -> LogForm:
    if text not in set(LogForm):
        _refuse(name, text, f"must be one of {', '.join(LogForm)}")
    return LogForm(text)


def _several(_: str, text: str) -> tuple[str, ...]:
    """What stands between commas."""
    return tuple(part.strip() for part in text.split(",") if part.strip())


def _folder(_: str, text: str) -> Path | None:
    return Path(text) if text else None


def _refuse(name: str, text: str, detail: str) -> NoReturn:
    raise InvalidInput(f"{name} {detail}, not {text!r}.", [FieldError(f"/{name}", text, detail)])


_READERS: Mapping[str, Callable[[str, str], Any]] = {
    "str": lambda _, text: text,
    "int": _whole,
    "Positive": _positive,
    "bool": _yes_or_no,
    "Path": lambda _, text: Path(text),
    "Path | None": _folder,
    "tuple[str, ...]": _several,
    "LogForm": _log_form,
}
"""How the text of a variable becomes the value of a setting, by the type of the setting."""
