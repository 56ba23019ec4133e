"""How does somebody come into the squad, and how is what is known of them changed?"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any
from zipfile import ZIP_DEFLATED, ZipFile

from dawnrule.analytics.archive import Archive
from dawnrule.errors import NotFound, StoreUnusable
from dawnrule.i18n.catalog import Texts
from dawnrule.i18n.lazy import lazy
from dawnrule.model.entities import Athlete
from dawnrule.sheet.formulas import guarded, looks_like_formula
from dawnrule.store import Store, Transaction
from dawnrule.store.activity_log import ATHLETE_ERASED, format_ranges, record_act
from dawnrule.store.tables.personal_data import KINDS

_BYTE_ORDER_MARK = "\ufeff"

Rows = list[dict[str, Any]]


def export_athlete(store: Store, athlete_id: str, texts: Texts, *, by: str, at: datetime) -> bytes:
    """A zip of all that is stored of an athlete; that it was made is noted. ``by`` is who asked.

    Raises ``NotFound``.
    """

    def note(transaction: Transaction) -> None:
        require_athlete(transaction, athlete_id)
        record_act(transaction, "athlete-exported", by=by, at=at, about={"athlete_id": athlete_id})

    def read(transaction: Transaction) -> dict[str, Rows]:
        require_athlete(transaction, athlete_id)
        return {kind: list(transaction.person.rows(kind, athlete_id)) for kind in KINDS}

    store.write(note)
    return _zipped(_files(store.read(read), athlete_id, texts, at))


def _files(
    kinds: Mapping[str, Rows], athlete_id: str, texts: Texts, at: datetime
) -> Iterator[tuple[str, str]]:
    """The name and the text of each file."""
    yield "README.txt", _readme(kinds, athlete_id, texts, at)
    for kind, rows in kinds.items():
        yield f"{kind}.json", json.dumps(rows, indent=1, ensure_ascii=False)
        yield f"{kind}.csv", _csv([_flat(_short(kind, row)) for row in rows])


def _readme(kinds: Mapping[str, Rows], athlete_id: str, texts: Texts, at: datetime) -> str:
    made = at.isoformat(timespec="minutes")
    paragraphs = [
        texts.say("export.heading", athlete_id=athlete_id, at=made),
        texts.say("export.forms"),
        *(texts.say(f"export.{kind}", rows=len(rows), name=kind) for kind, rows in kinds.items()),
        texts.say("export.proof"),
        texts.say("export.erasure"),
    ]
    return "\n\n".join(" ".join(paragraph.split()) for paragraph in paragraphs) + "\n"


def _short(kind: str, row: dict[str, Any]) -> dict[str, Any]:
    """A row without what only JSON can hold well: of a record, what was told."""
    if kind != "advice":
        return row
    advice = row["record"]["advice"]
    told = {name: advice[name] for name in ("headline", "reason", "caution")}
    return {name: value for name, value in row.items() if name != "record"} | told


def _flat(value: Any, name: str = "") -> dict[str, Any]:
    """Values by their names; those inside others are joined with dots: ``check_in.sleep.hours``."""
    if isinstance(value, dict):
        inner = list(value.items())
    elif isinstance(value, list) and any(isinstance(element, dict) for element in value):
        inner = list(enumerate(value, start=1))
    else:
        return {name: ", ".join(map(str, value)) if isinstance(value, list) else value}
    flat: dict[str, Any] = {}
    for step, element in inner:
        flat |= _flat(element, f"{name}.{step}" if name else str(step))
    return flat


def _csv(rows: Sequence[dict[str, Any]]) -> str:
    """CSV (RFC 4180) with a column for each name that any row has, in the order of first use."""
    names = list(dict.fromkeys(name for row in rows for name in row))
    text = io.StringIO(newline="")
    text.write(_BYTE_ORDER_MARK)
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(names)
    for row in rows:
        writer.writerow([_cell(row.get(name)) for name in names])
    return text.getvalue()


def _cell(value: Any) -> Any:
    """Text that a spreadsheet program would take for a formula is led by an apostrophe."""
    if isinstance(value, bool):
        return str(value).lower()
    return guarded(value) if isinstance(value, str) and looks_like_formula(value) else value


def _zipped(files: Iterator[tuple[str, str]]) -> bytes:
    packed = io.BytesIO()
    with ZipFile(packed, "w", ZIP_DEFLATED) as archive:
        for name, text in files:
            archive.writestr(name, text.encode("utf-8", "replace"))
    return packed.getvalue()


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

    def to_json(self) -> dict[str, Any]:
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

    def delete(transaction: Transaction) -> tuple[dict[str, int], int]:
        require_athlete(transaction, athlete_id)
        about = {
            "athlete_id": athlete_id,
            "positions": format_ranges(transaction.ledger.positions_of(athlete_id)),
        }
        removed = transaction.athletes.delete(athlete_id)
        return removed, record_act(transaction, ATHLETE_ERASED, by=by, at=at, about=about)

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


def put_athlete(transaction: Transaction, athlete: Athlete, *, by: str, at: datetime) -> bool:
    """Create an athlete, or replace what is known of them, and note who did; True if created.

    What was changed is noted by name only, as in ``time_zone``: the values are the person's. Run
    it inside one transaction; where nothing is changed nothing is noted.
    """
    before = transaction.athletes.get(athlete.id)
    if before == athlete:
        return False
    transaction.athletes.put(athlete)
    about = {"athlete_id": athlete.id}
    if before is None:
        record_act(transaction, "athlete-added", by=by, at=at, about=about)
        return True
    was, now = asdict(before), asdict(athlete)
    changed = ", ".join(sorted(name for name in now if now[name] != was[name]))
    record_act(transaction, "athlete-edited", by=by, at=at, about=about | {"changed": changed})
    return False


def unknown_athlete(athlete_id: str) -> NotFound:
    """The error for an id that nobody has; it says how a coach brings somebody in."""
    return NotFound(lazy("field.no_athlete", athlete=repr(athlete_id)))


def require_athlete(transaction: Transaction, athlete_id: str) -> Athlete:
    """The athlete of an id. Raises ``NotFound``; nobody is created by a typing error."""
    athlete = transaction.athletes.get(athlete_id)
    if athlete is None:
        raise unknown_athlete(athlete_id)
    return athlete
