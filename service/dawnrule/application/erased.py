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
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import datetime
from hashlib import sha256
from pathlib import Path

from dawnrule.analytics.tombstones import Exports, carry_over, exports_known
from dawnrule.application.athletes import erase
from dawnrule.errors import StoreBusy, StoreUnusable
from dawnrule.store import Store, Transaction, opened_to_read
from dawnrule.store.activity_log import (
    ATHLETE_ERASED,
    BACKUP_RESTORED,
    COMMAND_LINE,
    erasures_told_in,
    record_act,
    said_in,
)
from dawnrule.store.backup import acts_in, athletes_in, first_digest_in, move_into_place
from dawnrule.store.drafts import draft_of
from dawnrule.store.tables.ledger import record_digest

ENDING = ".erased.json"

_SALT_CHARACTERS = 32


@dataclass(frozen=True, slots=True)
class Erasures:
    """Erasures of one ledger: the digest of each by its salt. ``origin`` is the digest of the
    ledger's first entry, None while it is empty. ``exports`` is what its database knows of its
    archives, None where only a list of erasures could be read."""

    origin: str | None = None
    digests: Mapping[str, str] = field(default_factory=dict)
    exports: Exports | None = None

    def concern(self, athlete_id: str) -> bool:
        """Tell whether any is of an athlete."""
        return any(record_digest(athlete_id, salt) == of for salt, of in self.digests.items())


def erasures_in(db: Path) -> Erasures:
    """Read the erasures that a database knows of. Acts that were tampered with are left out. Raises
    ``StoreUnusable`` and ``StoreBusy``."""
    known: dict[str, str] = {}
    for body in acts_in(db, BACKUP_RESTORED):
        known |= erasures_told_in(body)
    for body in acts_in(db, ATHLETE_ERASED):
        if athlete_id := said_in(body, "athlete_id"):
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


@dataclass(frozen=True, slots=True)
class CarriedOver:
    """What a restored database was told: ``erased_again`` are the ids of those who were erased from
    it; ``knows_exports`` is False where nothing told what its club exported meanwhile."""

    erased_again: tuple[str, ...]
    knows_exports: bool


def carry_erasures_over(draft: Path, told: Iterable[Erasures], at: datetime) -> CarriedOver:
    """Erase from a restored database whoever was erased after its back-up was made, and note what
    it was told of erasures and archives. No archive is written to: nobody uses the draft yet."""
    known = erasures_in(draft)
    ours = [one for one in told if one.origin == known.origin]
    news = {
        salt: digest
        for one in ours
        for salt, digest in one.digests.items()
        if salt not in known.digests
    }
    exports = next((one.exports for one in ours if one.exports), None)
    back = tuple(filter(Erasures(digests=news).concern, sorted(athletes_in(draft))))

    def note(transaction: Transaction) -> None:
        about = {"erasures": " ".join(f"{salt}:{digest}" for salt, digest in sorted(news.items()))}
        about |= carry_over(transaction, exports, at) if exports else {}
        if any(about.values()):
            record_act(transaction, BACKUP_RESTORED, by=COMMAND_LINE, at=at, about=about)

    with Store.open(draft) as store:
        for athlete_id in back:
            erase(store, athlete_id, by=COMMAND_LINE, at=at, in_archives=False)
        store.write(note)
    return CarriedOver(back, exports is not None)


def erasures_elsewhere(backup: Path, db: Path) -> list[Erasures]:
    """Read what is known of erasures beside a back-up, and in the database that it replaces if
    that can be read, where archives are known too. Raises ``StoreUnusable`` for a list that cannot
    be read."""
    listed = [_read(file) for file in sorted(backup.parent.glob(f"*{ENDING}"))]
    found = [Erasures(origin, digests) for one in listed for origin, digests in one.items()]
    if not db.exists():
        return found
    with suppress(StoreBusy, StoreUnusable):
        found.append(erasures_in(db))
        with opened_to_read(db) as store:
            found[-1] = replace(found[-1], exports=store.read(exports_known))
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
