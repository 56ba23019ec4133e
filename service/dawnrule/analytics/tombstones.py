"""Archives that leave the database: how athletes are named in them, and who was erased since.

An archive that was exported holds no names. An athlete is known by a keyed digest of the id: the
key is a secret of the database (``archive-key`` in the table ``service_secrets``) and never leaves
it, so nobody can try ids, and no two clubs give anybody the same name. Beside the mornings stands a
list of those who were erased, by the same names; whoever reads an archive leaves them out. Who
comes back under the same id after that gets another name, so that a list only ever grows and no
copy shows an erased morning again. A list ends with the name of its club and a sum, in one file
that is replaced as a whole: of a list that was cut nobody could tell who must be left out.
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
"""The list of who was erased, in a club's folder: a name a line, and a line with the name of that
folder and the sum of all before it."""

_KEY, _KEY_BYTES = "archive-key", 32
_CLUB_CHARACTERS, _NAME_CHARACTERS = 16, 32
_LIST = re.compile(
    rf"(?P<summed>(?P<names>([0-9a-f]{{{_NAME_CHARACTERS}}}\n)*)"
    rf"(?P<club>{CLUB}[0-9a-f]{{{_CLUB_CHARACTERS}}})):(?P<sum>[0-9a-f]{{64}})\n"
)
_MORNINGS = "mornings.parquet"
_TAKE_OUT = "Give it its name back if it was renamed, or take it out of the archive."
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
        """The name of the club's folder."""
        return CLUB + self._digest("club")[:_CLUB_CHARACTERS]

    def folder_in(self, archive: Path) -> Path:
        """Return the club's folder in an archive, which may be that folder itself."""
        return archive if archive.resolve().name == self.club else archive / self.club

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


def folders_exported_to(store: Store) -> list[Path]:
    """List the folders that this database was exported to, also those that are gone."""
    folders = store.read(
        lambda transaction: {
            act.about["folder"]
            for act in acts_of(transaction.ledger.acts(act=ARCHIVE_EXPORTED, limit=_ALL))
        }
    )
    return list(map(Path, sorted(folders)))


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
    of_club = _pseudonyms(store, at).folder_in(folder)
    if not of_club.is_dir():
        raise NotFound(f"{folder} has no folder {of_club.name}, which is this club's.")
    write_list(store, of_club, at)


def list_of(club: str, names: Iterable[str]) -> str:
    """Write out the list of who was erased from a club, which is named as its folder."""
    summed = "".join(f"{name}\n" for name in names) + club
    return f"{summed}:{_sum_of(summed)}\n"


def _sum_of(text: str) -> str:
    return sha256(text.encode()).hexdigest()


def write_list(store: Store, folder: Path, at: datetime) -> None:
    """Write the list of a club to a folder, in place of any before. Raises ``StoreUnusable``.

    It is written again where somebody was erased meanwhile, as their own list may have been put in
    place just before this one.
    """
    written, pseudonyms = None, _pseudonyms(store, at)
    while (names := pseudonyms.of_erased()) != written:
        _put_list(folder / ERASED, list_of(pseudonyms.club, names))
        written, pseudonyms = names, _pseudonyms(store, at)


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
