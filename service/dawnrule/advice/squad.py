"""How does somebody come into the squad, and how is what is known of them changed?"""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime

from dawnrule.advice.acts import note_act
from dawnrule.errors import NotFound
from dawnrule.facts.check_in import Athlete
from dawnrule.store import Books
from dawnrule.vocabulary.said import say


def put_athlete(books: Books, athlete: Athlete, *, by: str, at: datetime) -> bool:
    """Create an athlete, or replace what is known of them, and note who did; True if created.

    What was changed is noted by name only, as in ``time_zone``: the values are the person's. Run
    it inside one transaction; where nothing is changed nothing is noted.
    """
    before = books.athletes.get(athlete.id)
    if before == athlete:
        return False
    books.athletes.put(athlete)
    about = {"athlete_id": athlete.id}
    if before is None:
        note_act(books, "athlete-added", by=by, at=at, about=about)
        return True
    was, now = asdict(before), asdict(athlete)
    changed = ", ".join(sorted(name for name in now if now[name] != was[name]))
    note_act(books, "athlete-edited", by=by, at=at, about=about | {"changed": changed})
    return False


def unknown_athlete(athlete_id: str) -> NotFound:
    """The error for an id that nobody has; it says how a coach brings somebody in."""
    return NotFound(say("field.no_athlete", athlete=repr(athlete_id)))
