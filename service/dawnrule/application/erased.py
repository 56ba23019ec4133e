"""Who was erased, as a list that lies beside the back-ups: a restore applies it, so that nobody
who was erased comes back with an older back-up, on whichever machine.

Of each erasure it holds a salt and the digest of the salt and the athlete's id. Both follow from
the act in the ledger, so that every copy of a database writes the same. An erasure is that of one
ledger, which is known by the digest of its first entry: other squads have athletes of the same ids.

A database knows its own erasures by their acts, and those that it was told of when it was restored
by the act of that. What it knows is not applied again, as an id may have been given anew since.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

from dawnrule.application.athletes import erase
from dawnrule.errors import StoreBusy, StoreUnusable
from dawnrule.store import Store
from dawnrule.store.activity_log import ATHLETE_ERASED, COMMAND_LINE, record_act
from dawnrule.store.backup import acts_in, athletes_in, first_digest_in, move_into_place
from dawnrule.store.drafts import draft_of
from dawnrule.store.tables.ledger import record_digest

BACKUP_RESTORED = "backup-restored"
"""The act of a restore that was told of erasures which its back-up did not know."""

ENDING = ".erased.json"

_SALT_CHARACTERS = 32


@dataclass(frozen=True, slots=True)
class Erasures:
    """Erasures of one ledger: the digest of each by its salt. ``origin`` is the digest of the
    ledger's first entry, None while it is empty."""

    origin: str | None = None
    digests: Mapping[str, str] = field(default_factory=dict)

    def concern(self, athlete_id: str) -> bool:
        """Tell whether any is of an athlete."""
        return any(record_digest(athlete_id, salt) == of for salt, of in self.digests.items())


def erasures_in(db: Path) -> Erasures:
    """Read the erasures that a database knows of. Acts that were tampered with are left out. Raises
    ``StoreUnusable`` and ``StoreBusy``."""
    known: dict[str, str] = {}
    for body in acts_in(db, BACKUP_RESTORED):
        known |= dict(pair.split(":") for pair in _about(body, "erasures").split())
    for body in acts_in(db, ATHLETE_ERASED):
        if athlete_id := _about(body, "athlete_id"):
            salt = sha256(body.encode()).hexdigest()[:_SALT_CHARACTERS]
            known[salt] = record_digest(athlete_id, salt)
    return Erasures(first_digest_in(db), known)


def list_of(db: Path, folder: Path) -> Path:
    """Return the file in a folder of back-ups that lists who was erased from a database."""
    return folder / f"{db.stem}{ENDING}"


def list_erased(db: Path, folder: Path) -> None:
    """Add a database's erasures to the list in a folder of back-ups; what stands there stays.
    Raises ``StoreUnusable`` and ``StoreBusy``."""
    erasures = erasures_in(db)
    file = list_of(db, folder)
    listed = _read(file)
    if not erasures.origin or erasures.digests.items() <= listed.get(erasures.origin, {}).items():
        return
    listed[erasures.origin] = listed.get(erasures.origin, {}) | dict(erasures.digests)
    try:
        with draft_of(file) as draft:
            draft.touch(0o600)
            draft.write_text(json.dumps(listed, indent=1), encoding="utf-8")
            move_into_place(draft, file)
    except OSError as error:
        raise StoreUnusable(f"{file} cannot be written: {error.strerror}.") from error


def erase_again(draft: Path, told: Iterable[Erasures], at: datetime) -> tuple[str, ...]:
    """Erase from a restored database whoever was erased after its back-up was made, and note what
    it was told; return their ids."""
    known = erasures_in(draft)
    digests: dict[str, str] = {}
    for one in told:
        digests |= one.digests if one.origin == known.origin else {}
    news = {salt: digest for salt, digest in digests.items() if salt not in known.digests}
    if not news:
        return ()
    erased = Erasures(known.origin, news)
    back = tuple(filter(erased.concern, sorted(athletes_in(draft))))
    about = {"erasures": " ".join(f"{salt}:{digest}" for salt, digest in sorted(news.items()))}
    with Store.open(draft) as store:
        for athlete_id in back:
            erase(store, athlete_id, by=COMMAND_LINE, at=at)
        store.write(
            lambda transaction: record_act(
                transaction, BACKUP_RESTORED, by=COMMAND_LINE, at=at, about=about
            )
        )
    return back


def erasures_elsewhere(backup: Path, db: Path) -> list[Erasures]:
    """Read what is known of erasures beside a back-up, and in the database that it replaces if
    that can be read. Raises ``StoreUnusable`` for a list that cannot be read."""
    listed = [_read(file) for file in sorted(backup.parent.glob(f"*{ENDING}"))]
    found = [Erasures(origin, digests) for one in listed for origin, digests in one.items()]
    if db.exists():
        try:
            found.append(erasures_in(db))
        except (StoreBusy, StoreUnusable):
            return found
    return found


def _read(file: Path) -> dict[str, dict[str, str]]:
    """Read a list: digests by salt, by origin; empty where there is none."""
    try:
        listed = json.loads(file.read_text(encoding="utf-8"))
        return {str(origin): dict(digests) for origin, digests in listed.items()}
    except FileNotFoundError:
        return {}
    except (OSError, AttributeError, TypeError, ValueError) as error:
        raise StoreUnusable(
            f"{file}, the list of who was erased, cannot be read. Get it from another copy of the "
            "backups; without it, people who were erased come back."
        ) from error


def _about(body: str, name: str) -> str:
    """Read what an act says; empty if it was tampered with."""
    try:
        about: Any = json.loads(body)["about"][name]
    except (KeyError, TypeError, ValueError):
        return ""
    return about if isinstance(about, str) else ""
