"""Archives that leave the database: how athletes are named in them, and who was erased since.

An archive that was exported holds no names. An athlete is known by a keyed digest of the id: the
key is a secret of the database (``archive-key`` in the table ``service_secrets``) and never leaves
it, so nobody can try ids, and no two clubs give anybody the same name. Beside the mornings stands a
list of those who were erased, by the same names; whoever reads an archive leaves them out. Who
comes back under the same id after that gets another name, so that a list only ever grows and no
copy shows an erased morning again. What stands on a list stays there, whatever the database knows:
an older back-up may have been restored. A list ends with the name of its club and a sum, in one
file that is replaced as a whole: of a list that was cut nobody could tell who must be left out.
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
from dawnrule.store.activity_log import (
    ATHLETE_ERASED,
    BACKUP_RESTORED,
    erasures_told_in,
    said_in,
)
from dawnrule.store.drafts import draft_of
from dawnrule.store.tables.ledger import record_digest

ARCHIVE_EXPORTED = "archive-exported"
"""The act of an export; ``about`` has the folder it went to."""

CLUB = "club="
"""How the name of a club's folder begins in an archive."""

ERASED = "erased.txt"
"""The list of who was erased, in a club's folder: a name a line, and a line with the name of that
folder and the sum of all before it."""

_KEY, _KEY_BYTES = "archive-key", 32
_CLUB_CHARACTERS, _NAME_CHARACTERS = 16, 32
_NAME = re.compile(rf"[0-9a-f]{{{_NAME_CHARACTERS}}}")
_LIST = re.compile(
    rf"(?P<summed>(?P<names>({_NAME.pattern}\n)*)"
    rf"(?P<club>{CLUB}[0-9a-f]{{{_CLUB_CHARACTERS}}})):(?P<sum>[0-9a-f]{{64}})\n"
)
_MORNINGS = "mornings.parquet"
_TAKE_OUT = "Give it its name back if it was renamed, or take it out of the archive."
_OWNER_ONLY = 0o600
_ALL = 1_000_000

_log = logging.getLogger("dawnrule.archives")


@dataclass(frozen=True, slots=True)
class Pseudonyms:
    """The names of a database's club and athletes in archives. ``erasures`` counts how often the
    athlete of an id was erased here. Restores told of further erasures: ``told`` has their digests
    by their salts, and ``carried_over`` names of who was erased."""

    key: bytes
    erasures: Mapping[str, int]
    told: Mapping[str, str]
    carried_over: frozenset[str]

    @classmethod
    def of(cls, transaction: Transaction, at: datetime) -> Pseudonyms:
        """Read the key of a database, or make it, and the erasures so far."""
        return cls.with_key(transaction.secrets.get_or_make(_KEY, _new_key, at), transaction)

    @classmethod
    def with_key(cls, key: bytes, transaction: Transaction) -> Pseudonyms:
        """Read the erasures so far."""
        ids = (said_in(body, "athlete_id") for body in _bodies(transaction, ATHLETE_ERASED))
        told: dict[str, str] = {}
        carried_over: set[str] = set()
        for body in _bodies(transaction, BACKUP_RESTORED):
            told |= erasures_told_in(body)
            carried_over.update(said_in(body, "erased_names").split())
        return cls(key, Counter(filter(None, ids)), told, frozenset(carried_over))

    @property
    def club(self) -> str:
        """The name of the club's folder."""
        return CLUB + self._digest("club")[:_CLUB_CHARACTERS]

    def folder_in(self, archive: Path) -> Path:
        """Return the club's folder in an archive, which may be that folder itself."""
        resolved = archive.resolve()
        return resolved if resolved.name == self.club else archive / self.club

    def of_athlete(self, athlete_id: str) -> str:
        """Return the name of an athlete who has not been erased."""
        return self._name(athlete_id, self._times_erased(athlete_id))

    def of_erased(self) -> frozenset[str]:
        """Return the names of all who were erased, also of those who are back under their ids."""
        return self.carried_over.union(
            self._name(athlete_id, earlier)
            for athlete_id in self.erasures
            for earlier in range(self._times_erased(athlete_id))
        )

    def _times_erased(self, athlete_id: str) -> int:
        told = sum(record_digest(athlete_id, salt) == of for salt, of in self.told.items())
        return self.erasures.get(athlete_id, 0) + told

    def _name(self, athlete_id: str, erasures: int) -> str:
        kind = f"athlete-{erasures}" if erasures else "athlete"
        return self._digest(f"{kind}:{athlete_id}")[:_NAME_CHARACTERS]

    def _digest(self, text: str) -> str:
        return hmac.new(self.key, text.encode(), sha256).hexdigest()


def _new_key() -> bytes:
    return token_bytes(_KEY_BYTES)


def _bodies(transaction: Transaction, act: str) -> list[str]:
    return [stored.body for stored in transaction.ledger.acts(act=act, limit=_ALL)]


@dataclass(frozen=True, slots=True)
class Exports:
    """What a database knows of its archives: its key, None before the first export, the folders
    that it was exported to, and the names of who was erased."""

    key: bytes | None
    folders: frozenset[str]
    erased: frozenset[str]


def exports_known(transaction: Transaction) -> Exports:
    """Read what a database knows of its archives."""
    key = transaction.secrets.get(_KEY)
    erased = Pseudonyms.with_key(key, transaction).of_erased() if key else frozenset()
    return Exports(key, _folders(transaction), erased)


def carry_over(transaction: Transaction, exports: Exports, at: datetime) -> dict[str, str]:
    """Let a restored database keep the key of the one that it replaces, so that its club keeps its
    name; return what else it does not know, for the act of the restore."""
    known = exports_known(transaction)
    if exports.key and exports.key != known.key:
        transaction.secrets.put(_KEY, exports.key, at)
    return {
        "folders": "\n".join(sorted(exports.folders - known.folders)),
        "erased_names": " ".join(sorted(exports.erased - known.erased)),
    }


def _folders(transaction: Transaction) -> frozenset[str]:
    exported = [said_in(body, "folder") for body in _bodies(transaction, ARCHIVE_EXPORTED)]
    carried_over = [said_in(body, "folders") for body in _bodies(transaction, BACKUP_RESTORED)]
    return frozenset("\n".join(exported + carried_over).split("\n")) - {""}


def folders_exported_to(store: Store) -> list[Path]:
    """List the folders that this database was exported to, also those that are gone."""
    return list(map(Path, sorted(store.read(_folders))))


def list_erased(store: Store, at: datetime) -> list[Path]:
    """Bring the lists up to date in all folders that this database was exported to; return those
    that could not be written. Folders that are gone are left alone."""
    failed = []
    for folder in folders_exported_to(store):
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
    of_club = folder_of_club(store, folder, at)
    if not of_club.is_dir():
        raise NotFound(f"{folder} has no folder {of_club.name}, which is this club's.")
    write_list(store, of_club, at)


def folder_of_club(store: Store, archive: Path, at: datetime) -> Path:
    """Return the folder of a database's club in an archive, which may be that folder itself."""
    return _pseudonyms(store, at).folder_in(archive)


def list_of(club: str, names: Iterable[str]) -> str:
    """Write out the list of who was erased from a club, which is named as its folder."""
    summed = "".join(f"{name}\n" for name in names) + club
    return f"{summed}:{_sum_of(summed)}\n"


def _sum_of(text: str) -> str:
    return sha256(text.encode()).hexdigest()


def write_list(store: Store, folder: Path, at: datetime, before: Path | None = None) -> None:
    """Write the list of a club to a folder, with all names that stand on the list there, or in the
    folder ``before`` that this one will replace. Raises ``StoreUnusable``.

    It is written again where somebody was erased meanwhile, as their own list may have been put in
    place just before this one.
    """
    written, pseudonyms = None, _pseudonyms(store, at)
    listed = _names_in((before or folder) / ERASED, pseudonyms.club)
    while (names := pseudonyms.of_erased()) != written:
        _put_list(folder / ERASED, list_of(pseudonyms.club, sorted(names | listed)))
        written, pseudonyms = names, _pseudonyms(store, at)


def _names_in(file: Path, club: str) -> frozenset[str]:
    """Read the names on a list of a club; of one that was cut, or has no sum, those that are left.
    A list of another club has none. Raises ``StoreUnusable``."""
    try:
        lines = file.read_text(encoding="utf-8", errors="replace").splitlines()
    except FileNotFoundError:
        return frozenset()
    except OSError as error:
        raise StoreUnusable(f"{file} cannot be read: {error.strerror}.") from error
    ends = [line.partition(":")[0] for line in lines if line.startswith(CLUB)]
    is_of_club = all(map(club.startswith, ends))  # the end may be cut too
    return frozenset(filter(_NAME.fullmatch, lines)) if is_of_club else frozenset()


def _pseudonyms(store: Store, at: datetime) -> Pseudonyms:
    return store.write(lambda transaction: Pseudonyms.of(transaction, at))


def _put_list(file: Path, text: str) -> None:
    try:
        with draft_of(file) as draft:
            draft.touch(_OWNER_ONLY)
            draft.write_text(text, encoding="utf-8")
            os.replace(draft, file)
    except OSError as error:
        raise StoreUnusable(f"{file} cannot be written: {error.strerror}.") from error


def read_list(of_club: Path) -> frozenset[str]:
    """Read who was erased from a club's folder. Raises ``StoreUnusable`` where it has no list, a
    part of one or that of another club, as nobody could tell who must be left out. A list of an
    earlier version has no sum and looks like a part."""
    file = of_club / ERASED
    try:
        text = file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise _unreadable(file, getattr(error, "strerror", "it is no text")) from error
    found = _LIST.fullmatch(text)
    if found is None or _sum_of(found["summed"]) != found["sum"]:
        raise _unreadable(file, "it was copied in part, or is of an earlier version")
    if found["club"] != of_club.name:
        raise StoreUnusable(
            f"{of_club} has the list of who was erased ({ERASED}) of {found['club']}. If it is a "
            "copy of that club's folder, leave it out; if it was renamed, give it its name back."
        )
    return frozenset(found["names"].split())


def _unreadable(file: Path, why: str) -> StoreUnusable:
    return StoreUnusable(
        f"{file}, the list of who was erased, cannot be read: {why}. "
        f"Copy it again, or let the club renew it: dawnrule archive erased --to '{file.parent}'"
    )


def club_folders(archives: Iterable[Path]) -> list[Path]:
    """Find the folders of clubs in archives: each is one, or holds some, however deep. What is
    hidden is passed over, such as an export that is not finished.

    Raises ``InvalidInput`` for a path without any, for folders and mornings inside that belong to
    no club, and for a club that is there twice: none may be passed over or counted twice.
    """
    found: dict[str, Path] = {}
    for archive in archives:
        is_club = archive.resolve().name.startswith(CLUB) and archive.is_dir()
        folders = [archive.resolve()] if is_club else _clubs_in(archive)
        if not folders:
            raise InvalidInput(_why_none(archive))
        for folder in folders:
            if folder.name in found:
                raise InvalidInput(_why_twice(found[folder.name], folder))
            found[folder.name] = folder
    return list(found.values())


def _clubs_in(archive: Path) -> list[Path]:
    """Find the folders of clubs in a folder that is none, however deep; raise ``InvalidInput`` for
    what lies beside them and is of no club. A link is followed to a club alone, as it could lead
    round in a circle."""
    if not archive.is_dir():
        return []
    try:
        paths = sorted(archive.iterdir())
    except OSError as error:
        raise StoreUnusable(f"{archive} cannot be read: {error.strerror}.") from error
    found, others = [], []
    for path in paths:
        if path.name.startswith("."):
            continue
        if path.is_dir() and path.name.startswith(CLUB):
            found.append(path)
        elif path.is_dir() and not path.is_symlink() and (clubs := _clubs_in(path)):
            found += clubs
        elif path.is_dir() or path.name == _MORNINGS:
            others.append(path)
    if found and others:
        raise InvalidInput(
            f"{others[0]} belongs to no club: it is no folder {CLUB}… and holds none. {_TAKE_OUT}"
        )
    return found


def _why_twice(one: Path, other: Path) -> str:
    if one.samefile(other):
        return f"The archive {other} is given twice. Give it once."
    return f"One club is there twice: {one} and {other}. Leave one of them out."


def _why_none(archive: Path) -> str:
    if not archive.exists():
        return f"There is no folder {archive}."
    if archive.is_file():
        return f"{archive} is a file; an archive is a folder, which dawnrule archive export writes."
    return f"{archive} holds no archive: it has no folder {CLUB}…."
