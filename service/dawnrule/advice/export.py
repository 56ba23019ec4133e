"""What does the service know of one person? All of it, in a zip that they can take with them.

Each kind of thing is there twice: as JSON, with everything, and as CSV, for a spreadsheet program.
A README says in plain words what is in which file.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any
from zipfile import ZIP_DEFLATED, ZipFile

from dawnrule.advice.acts import note_act
from dawnrule.advice.morning import known_athlete
from dawnrule.store import Books, Store
from dawnrule.store.person import KINDS
from dawnrule.vocabulary.formulas import guarded, looks_like_formula
from dawnrule.vocabulary.texts import Texts

_BYTE_ORDER_MARK = "\ufeff"

Rows = list[dict[str, Any]]


def export_athlete(store: Store, athlete_id: str, texts: Texts, *, by: str, at: datetime) -> bytes:
    """A zip of all that is stored of an athlete; that it was made is noted. ``by`` is who asked.

    Raises ``NotFound``.
    """

    def note(books: Books) -> None:
        known_athlete(books, athlete_id)
        note_act(books, "athlete-exported", by=by, at=at, about={"athlete_id": athlete_id})

    def read(books: Books) -> dict[str, Rows]:
        known_athlete(books, athlete_id)
        return {kind: list(books.person.rows(kind, athlete_id)) for kind in KINDS}

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
