"""How is a person erased, wherever they are written down?"""

from __future__ import annotations

from dawnrule.advice.archive import Archive
from dawnrule.advice.morning import known_athlete
from dawnrule.store import Books, Store


def erase(store: Store, athlete_id: str) -> dict[str, int]:
    """Erase an athlete with all that is known of them; how many rows went, by table.

    The archive goes before, so that no crash leaves it behind, and again afterwards, should it
    have been made anew meanwhile. Raises ``NotFound``.
    """

    def delete(books: Books) -> dict[str, int]:
        known_athlete(books, athlete_id)
        return books.athletes.delete(athlete_id)

    archive = Archive(store)
    archive.forget()
    removed = store.write(delete)
    archive.forget()
    return removed
