"""The page of sheets: a coach's own sheet is looked at, introduced and remembered."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from flask import redirect, render_template, request, url_for

from dawnrule.application.introductions import LAYOUTS, forget, introduce, meanings_said
from dawnrule.errors import DawnruleError, InvalidInput
from dawnrule.i18n.lazy import render
from dawnrule.schemas.introduction import KINDS
from dawnrule.sheet import ColumnMeaning, SheetColumns, all_meanings
from dawnrule.sheet.meanings import IGNORED, How
from dawnrule.sheet.words import plain_word
from dawnrule.web.api.sheets import columns_of
from dawnrule.web.coach.forms import SEE_OTHER, UNPROCESSABLE
from dawnrule.web.coach.layout import coach
from dawnrule.web.context import context
from dawnrule.web.http.authorization import caller
from dawnrule.web.http.locale import texts

_MOST_COLUMNS = 256
_TOPICS = {
    "subject": ("athlete_", "date", "reported_", "starts_", "comment"),
    "soreness": ("soreness", "muscle_group"),
    "health": ("pain_", "illness", "sign_", "warning_", "fever_", "temperature_"),
    "state": ("sleep_", "naps_", "fatigue", "stress", "resting_", "hrv_"),
    "training": ("plan", "block", "minutes", "rpe", "output"),
    "last_trained": ("last_",),
    "further": ("",),
}
"""How the names of the meanings begin that are about each topic."""


@coach.get("/sheets")
def sheets() -> str:
    """Show the sheets that were introduced, and the form to look at one."""
    return _page()


@coach.post("/sheets")
def look_at_sheet() -> Any:
    """Show the columns of an uploaded sheet with what each is taken to mean; nothing is stored."""
    request.max_content_length = context().settings.batch_body_limit_bytes
    kind = request.form.get("kind", "")
    kind = kind if kind in KINDS else KINDS[0]
    file = request.files.get("file")
    try:
        found = columns_of(file.read() if file else b"", kind, None)
    except InvalidInput as refused:
        return _page(refused), UNPROCESSABLE
    return _review(kind, found, {})


@coach.post("/sheets/introduce")
def introduce_sheet() -> Any:
    """Remember what the columns of a sheet mean; with faults they are shown again."""
    kind = request.form.get("kind", "")
    kind = kind if kind in KINDS else KINDS[0]
    asked = _columns_of_form()
    said = {
        plain_word(one.header): one.meaning
        for one in asked
        if one.meaning is not None and one.header
    }
    by, at = caller().id, context().clock()
    try:
        meanings = meanings_said(asked, said)
        context().store.write(lambda b: introduce(b, kind, meanings, by=by, at=at))
    except InvalidInput as refused:
        faults = {
            fault.pointer.rpartition("/")[2]: str(render(fault.detail, texts()))
            for fault in refused.errors
        }
        return _review(kind, SheetColumns(asked, ()), faults), UNPROCESSABLE
    return redirect(url_for("coach.sheets", introduced="yes"), SEE_OTHER)


@coach.post("/sheets/<sheet_id>/forget")
def forget_sheet(sheet_id: str) -> Any:
    """Forget what was said of a sheet."""
    by, at = caller().id, context().clock()
    context().store.write(lambda transaction: forget(transaction, sheet_id, by=by, at=at))
    return redirect(url_for("coach.sheets"), SEE_OTHER)


def _columns_of_form() -> tuple[ColumnMeaning, ...]:
    """Read the columns back from the form, with what was chosen for each."""
    found = []
    for place in range(_MOST_COLUMNS):
        header = request.form.get(f"header-{place}")
        if header is None:
            break
        meaning = request.form.get(f"meaning-{place}") or None
        samples = tuple(request.form.getlist(f"sample-{place}"))
        how: How = "asked" if meaning is None else "chosen"
        found.append(ColumnMeaning(place, header, meaning, None, how, (), samples))
    return tuple(found)


def _review(kind: str, found: SheetColumns, faults: Mapping[str, str]) -> str:
    return render_template(
        "coach/sheet_columns.html",
        kind=kind,
        columns=[one for one in found.columns if one.header],
        unknown=found.unknown_athletes,
        topics=_topics(all_meanings(LAYOUTS[kind])),
        plain_word=plain_word,
        faults=faults,
    )


def _topics(meanings: Iterable[str]) -> dict[str, list[str]]:
    """Group meanings by what they are about; those of each topic are sorted."""
    topics: dict[str, list[str]] = {topic: [] for topic in _TOPICS}
    for meaning in sorted(meanings):
        if meaning != IGNORED:
            topic = next(t for t, starts in _TOPICS.items() if meaning.startswith(starts))
            topics[topic].append(meaning)
    return {topic: found for topic, found in topics.items() if found}


def _page(refused: DawnruleError | None = None) -> str:
    known = context().store.read(lambda transaction: transaction.introduced_sheets.all())
    return render_template(
        "coach/sheets.html",
        sheets=known,
        kinds=KINDS,
        introduced=request.args.get("introduced") == "yes",
        refused=render(refused.detail, texts()) if refused else None,
    )
