"""What can whoever runs the service choose, and what holds when they do not?"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Self

from dawnrule.errors import FieldError, InvalidInput


@dataclass(frozen=True, slots=True)
class Settings:
    """The settings of one service; each may come from the environment as ``DAWNRULE_`` and its
    name in capitals, as in ``DAWNRULE_DB``.

    ``rule_set`` is the active one, as name@version. The body limits hold for one request; that
    of a batch is larger because it carries a whole squad.
    """

    db: Path = Path("dawnrule.db")
    host: str = "127.0.0.1"
    port: int = 8080
    threads: int = 4
    rule_set: str = "baseline@1.1.0"
    body_limit_bytes: int = 1_000_000
    batch_body_limit_bytes: int = 5_000_000
    batch_row_limit: int = 5_000

    @classmethod
    def from_environment(cls, environment: Mapping[str, str] = os.environ) -> Self:
        """Defaults, save what the environment says. Raises ``InvalidInput`` for what it cannot
        mean."""
        default = cls()
        return cls(
            db=Path(environment.get("DAWNRULE_DB", default.db)),
            host=environment.get("DAWNRULE_HOST", default.host),
            port=_whole(environment, "DAWNRULE_PORT", default.port),
            threads=_whole(environment, "DAWNRULE_THREADS", default.threads),
            rule_set=environment.get("DAWNRULE_RULE_SET", default.rule_set),
            body_limit_bytes=_whole(
                environment, "DAWNRULE_BODY_LIMIT_BYTES", default.body_limit_bytes
            ),
            batch_body_limit_bytes=_whole(
                environment, "DAWNRULE_BATCH_BODY_LIMIT_BYTES", default.batch_body_limit_bytes
            ),
            batch_row_limit=_whole(
                environment, "DAWNRULE_BATCH_ROW_LIMIT", default.batch_row_limit
            ),
        )


def name_and_version(rule_set: str) -> tuple[str, str]:
    """``baseline@1.0.0``, taken apart."""
    name, _, version = rule_set.partition("@")
    return name, version


def _whole(environment: Mapping[str, str], name: str, default: int) -> int:
    text = environment.get(name, str(default))
    if text.isascii() and text.isdecimal():
        return int(text)
    detail = "must be a whole number"
    raise InvalidInput(f"{name} {detail}, not {text!r}.", [FieldError(f"/{name}", text, detail)])
