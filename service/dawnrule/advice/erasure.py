"""How is a person erased, wherever they are written down?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from dawnrule.advice.acts import ATHLETE_ERASED, in_ranges, note_act
from dawnrule.advice.archive import Archive
from dawnrule.advice.morning import known_athlete
from dawnrule.errors import StoreUnusable
from dawnrule.store import Books, Store

DISAGREEMENTS_ENDING = ".disagreements.jsonl"
"""What the file beside the database is called that holds the facts on which the two evaluations
differed. It does not say whose they are, so it goes with anybody."""


@dataclass(frozen=True, slots=True)
class Erased:
    """What was removed: how many rows, by table. ``position`` is where the ledger says so.

    ``is_wiped`` is False when the files could not be written anew, because others would not let go
    of them or the disk is full: bytes of what was removed may stay until ``Store.wipe`` succeeds,
    as it is tried again with the next erasure.
    """

    removed: dict[str, int]
    position: int
    is_wiped: bool

    def to_plain(self) -> dict[str, Any]:
        """The same as plain JSON values."""
        return self.removed | {"position": self.position, "wiped": self.is_wiped}


def erase(store: Store, athlete_id: str, *, by: str, at: datetime) -> Erased:
    """Erase an athlete with all that is known of them. ``by`` is who wants it.

    The entries of their advice stay in the ledger, with digests of what nobody has any more; an
    act names their positions, so that it can be told from a loss. The files beside the database go
    before, so that no crash leaves them behind, and again afterwards, should they have been made
    anew meanwhile.
    Raises ``NotFound``, and ``StoreUnusable`` when these files cannot be deleted.
    """

    def delete(books: Books) -> tuple[dict[str, int], int]:
        known_athlete(books, athlete_id)
        about = {
            "athlete_id": athlete_id,
            "positions": in_ranges(books.ledger.positions_of(athlete_id)),
        }
        removed = books.athletes.delete(athlete_id)
        return removed, note_act(books, ATHLETE_ERASED, by=by, at=at, about=about)

    forget_beside(store)
    removed, position = store.write(delete)
    forget_beside(store)
    return Erased(removed, position, store.wipe())


def forget_beside(store: Store) -> None:
    """Delete the files beside a database that may tell of anybody. Raises ``StoreUnusable``."""
    try:
        Archive(store).forget()
        store.file.with_name(store.file.name + DISAGREEMENTS_ENDING).unlink(missing_ok=True)
    except OSError as error:
        raise StoreUnusable(f"{error.filename} cannot be deleted: {error.strerror}.") from error
