"""Archives that leave the database: how athletes are named in them, and who was erased since.

An archive that was exported holds no names. An athlete is known by a keyed digest of the id: the
key is a secret of the database (``archive-key`` in the table ``service_secrets``) and never leaves
it, so nobody can try ids, and no two clubs give anybody the same name. Beside the mornings stands a
list of those who were erased, by the same names; whoever reads an archive leaves them out. Who
comes back under the same id after that gets another name, so that a list only ever grows and no
copy shows an erased morning again.
"""

from __future__ import annotations

import hmac
import logging
import os
import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from secrets import token_bytes

from dawnrule.errors import InvalidInput, NotFound, StoreUnusable
from dawnrule.store import Store, Transaction
from dawnrule.store.activity_log import ATHLETE_ERASED, acts_of
from dawnrule.store.drafts import draft_of

ARCHIVE_EXPORTED = "archive-exported"
"""The act of an export; ``about`` has the folder it went to."""

CLUB = "club="
"""How the name of a club's folder begins in an archive."""

ERASED = "erased.txt"
"""The list of who was erased, in a club's folder: a name a line."""

_KEY, _KEY_BYTES = "archive-key", 32
_CLUB_CHARACTERS, _NAME_CHARACTERS = 16, 32
_LIST = re.compile(rf"([0-9a-f]{{{_NAME_CHARACTERS}}}\n)*")
_OWNER_ONLY = 0o600
_ALL = 1_000_000

_log = logging.getLogger("dawnrule.archives")


@dataclass(frozen=True, slots=True)
class Pseudonyms:
    """The names of a database's club and athletes in archives; ``erasures`` counts how often the
    athlete of an id was erased."""

    key: bytes
    erasures: Mapping[str, int]

    @classmethod
    def of(cls, transaction: Transaction, at: datetime) -> Pseudonyms:
        """Read the key of a database, or make it, and the erasures so far."""
        acts = acts_of(transaction.ledger.acts(act=ATHLETE_ERASED, limit=_ALL))
        erasures = Counter(act.about["athlete_id"] for act in acts)
        return cls(transaction.secrets.get_or_make(_KEY, _new_key, at), erasures)

    @property
    def club(self) -> str:
        """The name of the club."""
        return self._digest("club")[:_CLUB_CHARACTERS]

    def folder_in(self, archive: Path) -> Path:
        """Return the club's folder in an archive, which may be that folder itself."""
        name = f"{CLUB}{self.club}"
        return archive if archive.name == name else archive / name

    def of_athlete(self, athlete_id: str) -> str:
        """Return the name of an athlete who has not been erased."""
        return self._name(athlete_id, self.erasures.get(athlete_id, 0))

    def of_erased(self) -> list[str]:
        """List the names of all who were erased, also of those who are back under their ids."""
        return sorted(
            self._name(athlete_id, earlier)
            for athlete_id, times in self.erasures.items()
            for earlier in range(times)
        )

    def _name(self, athlete_id: str, erasures: int) -> str:
        kind = f"athlete-{erasures}" if erasures else "athlete"
        return self._digest(f"{kind}:{athlete_id}")[:_NAME_CHARACTERS]

    def _digest(self, text: str) -> str:
        return hmac.new(self.key, text.encode(), sha256).hexdigest()


def _new_key() -> bytes:
    return token_bytes(_KEY_BYTES)


def list_erased(store: Store, at: datetime) -> list[Path]:
    """Bring the lists up to date in all folders that this database was exported to; return those
    that could not be written. Folders that are gone are left alone."""
    folders = store.read(
        lambda transaction: {
            act.about["folder"]
            for act in acts_of(transaction.ledger.acts(act=ARCHIVE_EXPORTED, limit=_ALL))
        }
    )
    failed = []
    for folder in map(Path, sorted(folders)):
        try:
            list_erased_in(store, folder, at)
        except NotFound:
            continue
        except StoreUnusable as error:
            _log.warning(
                "%s Once it can be: dawnrule archive erased --to '%s'", error.detail, folder
            )
            failed.append(folder)
    return failed


def list_erased_in(store: Store, folder: Path, at: datetime) -> None:
    """Bring the list up to date in an archive, or in the club's folder itself. Raises ``NotFound``
    where this club has no folder in it, and ``StoreUnusable``."""
    pseudonyms = store.write(lambda transaction: Pseudonyms.of(transaction, at))
    of_club = pseudonyms.folder_in(folder)
    if not of_club.is_dir():
        raise NotFound(f"{folder} has no folder {of_club.name}, which is this club's.")
    write_list(of_club, pseudonyms.of_erased())


def write_list(of_club: Path, names: Iterable[str]) -> None:
    """Write the list of a club's folder. Raises ``StoreUnusable``."""
    file = of_club / ERASED
    try:
        with draft_of(file) as draft:
            draft.touch(_OWNER_ONLY)
            draft.write_text("".join(f"{name}\n" for name in names), encoding="utf-8")
            os.replace(draft, file)
    except OSError as error:
        raise StoreUnusable(f"{file} cannot be written: {error.strerror}.") from error


def read_list(of_club: Path) -> frozenset[str]:
    """Read who was erased from a club's folder. Raises ``StoreUnusable`` where it has no list or
    half of one, as nobody could tell who must be left out."""
    file = of_club / ERASED
    try:
        text = file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise _unreadable(file, getattr(error, "strerror", "it is no text")) from error
    if not _LIST.fullmatch(text):
        raise _unreadable(file, "it was copied in part, or is not as it was written")
    return frozenset(text.split())


def _unreadable(file: Path, why: str) -> StoreUnusable:
    return StoreUnusable(
        f"{file}, the list of who was erased, cannot be read: {why}. "
        "Get it from where the archive comes from."
    )


def club_folders(archives: Iterable[Path]) -> list[Path]:
    """Find the folders of clubs in archives: each is one, or holds some, however deep.

    Raises ``InvalidInput`` for a path without any, and for a club that is there twice, unless both
    are the same folder.
    """
    found: dict[str, Path] = {}
    for archive in archives:
        inside = [archive] if archive.name.startswith(CLUB) else sorted(archive.rglob(f"{CLUB}*"))
        folders = [one for one in inside if one.is_dir()]
        if not folders:
            raise InvalidInput(_why_none(archive))
        for folder in folders:
            other = found.setdefault(folder.name, folder)
            if not folder.samefile(other):
                raise InvalidInput(
                    f"One club is there twice: {other} and {folder}. Leave one of them out."
                )
    return list(found.values())


def _why_none(archive: Path) -> str:
    if not archive.exists():
        return f"There is no folder {archive}."
    if archive.is_file():
        return f"{archive} is a file; an archive is a folder, which dawnrule archive export writes."
    return f"{archive} holds no archive: it has no folder {CLUB}…."
