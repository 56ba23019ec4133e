"""Athletes: add and edit, export all personal data, erase."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from itertools import count
from typing import Any
from zipfile import ZIP_DEFLATED, ZipFile

from dawnrule.analytics.archive_file import delete_archive
from dawnrule.analytics.tombstones import list_erased
from dawnrule.application.heads import head_text
from dawnrule.errors import Conflict, FieldError, NotFound, StoreUnusable
from dawnrule.i18n.catalog import Texts
from dawnrule.i18n.lazy import lazy
from dawnrule.model.entities import Athlete
from dawnrule.sheet.formulas import escape_formula, looks_like_formula
from dawnrule.store import Head, Store, Transaction
from dawnrule.store.activity_log import ATHLETE_ERASED, record_act
from dawnrule.store.backup import discard_half_made
from dawnrule.store.tables.personal_data import KINDS
from dawnrule.store.values import format_ranges

_BYTE_ORDER_MARK = "\ufeff"

Rows = list[dict[str, Any]]


def export_athlete(store: Store, athlete_id: str, texts: Texts, *, by: str, at: datetime) -> bytes:
    """Make a zip of all that is stored of an athlete, and log that ``by`` asked for it.

    Raises ``NotFound``.
    """

    def note(transaction: Transaction) -> None:
        require_athlete(transaction, athlete_id)
        record_act(transaction, "athlete-exported", by=by, at=at, about={"athlete_id": athlete_id})

    def read(transaction: Transaction) -> tuple[dict[str, Rows], Head]:
        require_athlete(transaction, athlete_id)
        rows = {kind: list(transaction.person.rows(kind, athlete_id)) for kind in KINDS}
        return rows, transaction.ledger.head()

    store.write(note)
    kinds, head = store.read(read)
    return _zipped(_files(kinds, head, athlete_id, texts, at))


def _files(
    kinds: Mapping[str, Rows], head: Head, athlete_id: str, texts: Texts, at: datetime
) -> Iterator[tuple[str, str]]:
    """Yield the name and text of each file."""
    yield "README.txt", _readme(kinds, head, athlete_id, texts, at)
    for kind, rows in kinds.items():
        yield f"{kind}.json", json.dumps(rows, indent=1, ensure_ascii=False)
        yield f"{kind}.csv", _csv([_flat(_short(kind, row)) for row in rows])


def _readme(
    kinds: Mapping[str, Rows], head: Head, athlete_id: str, texts: Texts, at: datetime
) -> str:
    made = at.isoformat(timespec="minutes")
    paragraphs = [
        texts.say("export.heading", athlete_id=athlete_id, at=made),
        texts.say("export.forms"),
        *(texts.say(f"export.{kind}", rows=len(rows), name=kind) for kind, rows in kinds.items()),
        texts.say("export.proof"),
        texts.say("export.head", head=head_text(head)),
        texts.say("export.erasure"),
    ]
    return "\n\n".join(" ".join(paragraph.split()) for paragraph in paragraphs) + "\n"


def _short(kind: str, row: dict[str, Any]) -> dict[str, Any]:
    """Reduce a row for CSV: of a record, only the sentences of its advice."""
    if kind != "advice":
        return row
    advice = row["record"]["advice"]
    sentences = {name: advice[name] for name in ("headline", "reason", "caution")}
    return {name: value for name, value in row.items() if name != "record"} | sentences


def _flat(value: Any, name: str = "") -> dict[str, Any]:
    """Flatten nested values; names are joined with dots: ``check_in.sleep.hours``."""
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
    """Write CSV (RFC 4180) with a column for each name in any row, in order of first use."""
    names = list(dict.fromkeys(name for row in rows for name in row))
    text = io.StringIO(newline="")
    text.write(_BYTE_ORDER_MARK)
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(names)
    for row in rows:
        writer.writerow([_cell(row.get(name)) for name in names])
    return text.getvalue()


def _cell(value: Any) -> Any:
    """Guard text that a spreadsheet program would take for a formula with an apostrophe."""
    if isinstance(value, bool):
        return str(value).lower()
    return escape_formula(value) if isinstance(value, str) and looks_like_formula(value) else value


def _zipped(files: Iterator[tuple[str, str]]) -> bytes:
    packed = io.BytesIO()
    with ZipFile(packed, "w", ZIP_DEFLATED) as archive:
        for name, text in files:
            archive.writestr(name, text.encode("utf-8", "replace"))
    return packed.getvalue()


DISAGREEMENTS_ENDING = ".disagreements.jsonl"
"""Suffix of the file beside the database with facts on which the two evaluations differed. It does
not say whose they are, so it is deleted with any athlete."""


@dataclass(frozen=True, slots=True)
class Erased:
    """Deleted rows by table. ``position`` is that of the act in the ledger.

    ``is_wiped`` is False when the files could not be rewritten, because they are in use or the disk
    is full: bytes of deleted rows may stay until ``Store.wipe`` succeeds; the service tries again
    each minute.
    """

    removed: dict[str, int]
    position: int
    is_wiped: bool


def erase(
    store: Store, athlete_id: str, *, by: str, at: datetime, in_archives: bool = True
) -> Erased:
    """Erase an athlete with all their data, as requested by ``by``.

    The ledger keeps the entries of their advice and concerns, with digests of what is deleted;
    an act names
    their positions, so that the erasure can be told from a loss. Side files are deleted before the
    transaction, so a crash cannot leave them behind, and again after it, in case another process
    recreated them. Archives that were exported get the athlete's name on their lists of who was
    erased, where they still are, unless ``in_archives`` is False. An erasure that was cut off
    before the files were rewritten is finished when it is asked for again.
    Raises ``NotFound``, and ``StoreUnusable`` when these files cannot be deleted.
    """

    def delete(transaction: Transaction) -> tuple[dict[str, int], int]:
        if (position := require_erasable(transaction, athlete_id)) is not None:
            return transaction.athletes.delete(athlete_id), position  # none of anything
        positions = transaction.ledger.positions_of(athlete_id)
        positions += transaction.concerns.positions_of(athlete_id)
        about = {"athlete_id": athlete_id, "positions": format_ranges(sorted(positions))}
        removed = transaction.athletes.delete(athlete_id)
        return removed, record_act(transaction, ATHLETE_ERASED, by=by, at=at, about=about)

    delete_side_files(store)
    removed, position = store.write(delete)
    delete_side_files(store)
    if in_archives:
        list_erased(store, at)
    return Erased(removed, position, store.wipe())


def require_erasable(transaction: Transaction, athlete_id: str) -> int | None:
    """Raise ``NotFound`` for who is neither there nor has an erasure that was cut off; return the
    position of that erasure's act."""
    position = _unfinished(transaction, athlete_id)
    if position is None:
        require_athlete(transaction, athlete_id)
    return position


def _unfinished(transaction: Transaction, athlete_id: str) -> int | None:
    """Find the act of an athlete's erasure, by position, if traces may be left and they are not
    there any more."""
    if transaction.athletes.get(athlete_id) is not None or not transaction.traces.count():
        return None
    acts = transaction.person.rows("acts", athlete_id)
    erased = [row["position"] for row in acts if row["act"]["act"] == ATHLETE_ERASED]
    return erased[-1] if erased else None


def delete_side_files(store: Store) -> None:
    """Delete the files beside a database that hold personal data, half-made copies among them.
    Raises ``StoreUnusable``."""
    discard_half_made(store.file, store.file.parent)
    try:
        delete_archive(store.file)
        store.file.with_name(store.file.name + DISAGREEMENTS_ENDING).unlink(missing_ok=True)
    except OSError as error:
        raise StoreUnusable(f"{error.filename} cannot be deleted: {error.strerror}.") from error


def put_athlete(transaction: Transaction, athlete: Athlete, *, by: str, at: datetime) -> bool:
    """Create an athlete, or replace their data, and log who did; return True if created.

    Raises ``Conflict`` for the id of somebody else in other capitals: one of the two would be a
    typing error, and people could not tell them apart.
    Changes are logged by field name only, such as ``time_zone``: the values are personal. To be run
    inside one transaction; without a change nothing is logged.
    """
    before = transaction.athletes.get(athlete.id)
    if before == athlete:
        return False
    alike = transaction.athletes.id_in_other_capitals(athlete.id) if before is None else None
    if alike is not None:
        raise id_taken(athlete.id, alike)
    transaction.athletes.put(athlete)
    about = {"athlete_id": athlete.id}
    if before is None:
        record_act(transaction, "athlete-added", by=by, at=at, about=about)
        return True
    was, now = asdict(before), asdict(athlete)
    changed = ", ".join(sorted(name for name in now if now[name] != was[name]))
    record_act(transaction, "athlete-edited", by=by, at=at, about=about | {"changed": changed})
    return False


def next_athlete_id(transaction: Transaction) -> str:
    """Return an id that nobody has or had, such as ``a-07``: the record keeps the ids of those who
    were erased, so an id should not tell a name."""
    taken = {athlete.id.lower() for athlete in transaction.athletes.all()}
    numbers = count(len(taken) + 1)
    ids = (f"a-{number:02}" for number in numbers)
    return next(
        one for one in ids if one not in taken and not any(transaction.person.rows("acts", one))
    )


def id_taken(athlete_id: str, alike: str) -> Conflict:
    """Make the error for an id that differs from another in capitals only."""
    accepted = f"must differ from {alike} in more than capitals"
    fault = FieldError("/athlete_id", athlete_id, accepted)
    return Conflict(f"The id {athlete_id} is taken: there is {alike}.", [fault])


def unknown_athlete(athlete_id: str) -> NotFound:
    """Make the error for an unknown id; it says how a coach adds an athlete."""
    return NotFound(lazy("field.no_athlete", athlete=repr(athlete_id)))


def require_athlete(transaction: Transaction, athlete_id: str) -> Athlete:
    """Find an athlete. Raises ``NotFound``: a typing error must not create anybody."""
    athlete = transaction.athletes.get(athlete_id)
    if athlete is None:
        raise unknown_athlete(athlete_id)
    return athlete
