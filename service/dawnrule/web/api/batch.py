"""Batches of check-ins or sessions, as JSON or as a sheet."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial, reduce
from typing import Any, TypeVar

from flask import Response, request

from dawnrule.application.amendments import Told
from dawnrule.application.batches import (
    MOST_OF_ALL_OR_NONE,
    Begin,
    Row,
    RowOutcome,
    check_ins_of_sheet,
    reject_contradictions,
    rows_of_json,
    rows_of_sheet,
    submit_all_or_none,
    submit_each,
)
from dawnrule.application.check_ins import Submitted
from dawnrule.application.introductions import chosen_meanings
from dawnrule.application.sessions import Logged
from dawnrule.errors import DawnruleError, InvalidInput
from dawnrule.i18n.catalog import Texts
from dawnrule.i18n.lazy import lazy, render_error
from dawnrule.model.entities import Session
from dawnrule.schemas import load_check_in, load_session
from dawnrule.schemas.base import StrictSchema
from dawnrule.schemas.batch import (
    CHECK_IN_BATCH,
    SESSION_BATCH,
    BatchProblemSchema,
    BatchQuery,
    BatchQuerySchema,
    BatchResultSchema,
    SessionBatchProblemSchema,
    SessionBatchResultSchema,
)
from dawnrule.schemas.errors import load
from dawnrule.sheet import (
    CHECK_INS,
    SESSIONS,
    AnswerBook,
    DateOrder,
    ReadOptions,
    RowAnswer,
    SessionRowAnswer,
    Sheet,
    read_sheet,
    write_sheet,
)
from dawnrule.web.api.batch_rows import BatchResult, Kind, outcome_cells, row_result
from dawnrule.web.api.sessions import in_language_of_request
from dawnrule.web.context import context
from dawnrule.web.http.authorization import caller
from dawnrule.web.http.locale import localize, texts
from dawnrule.web.http.problems import PROBLEM_JSON, problem_answer, problem_of
from dawnrule.web.http.requests import Blueprint, json_body, refuse_other_than
from dawnrule.web.http.responses import (
    CSV,
    DESCRIBED_REMARKS,
    JSON,
    ODS,
    XLSX,
    advice_in_row,
    csv_answer,
    errors_in_request_language,
    logged_in_row,
    people_of,
    preferred_media_type,
    remarks_header,
    xlsx_answer,
    zones_of,
)

T = TypeVar("T")
A = TypeVar("A")
Answer = Response | tuple[BatchResult, int]
View = Callable[..., Answer]

batches = Blueprint(
    "batches", __name__, url_prefix="/v1", description="A squad's check-ins or sessions at once."
)

_ALL_ACCEPTED, _SOME_REJECTED, _NOTHING_STORED = 200, 207, InvalidInput.status
_ACCEPTED = "Every row was accepted."
_REJECTED = "Some rows were rejected, the others stored."
_NOTHING = "Nothing was stored."
_DESCRIPTIONS = {_ALL_ACCEPTED: _ACCEPTED, _SOME_REJECTED: _REJECTED, _NOTHING_STORED: _NOTHING}
_SHEET = {"type": "string"}
_WORKBOOK = {"type": "string", "format": "binary"}
_SHEETS = {CSV: _SHEET, XLSX: _WORKBOOK, ODS: _WORKBOOK}


def _check_in_outcome(answer: Submitted) -> str:
    return ("superseded" if answer.supersedes else "created") if answer.is_new else "unchanged"


_CHECK_INS: Kind[Told, Submitted] = Kind(
    many="check_ins",
    label="sheet.many_check_ins",
    file_name="check-ins-with-advice",
    body=CHECK_IN_BATCH,
    result=BatchResultSchema(),
    layout=CHECK_INS,
    load=load_check_in,
    rows_of_sheet=check_ins_of_sheet,
    reject=reject_contradictions,
    subject=lambda check_in: (check_in.athlete_id, check_in.date.isoformat()),
    outcome=_check_in_outcome,
    answer=lambda answer: localize(answer.advice),
    answer_cells=lambda answer: advice_in_row(localize(answer.advice)),
    problem_cells=RowAnswer,
)
_SESSIONS: Kind[Session, Logged] = Kind(
    many="sessions",
    label="sheet.many_sessions",
    file_name="sessions-logged",
    body=SESSION_BATCH,
    result=SessionBatchResultSchema(),
    layout=SESSIONS,
    load=load_session,
    rows_of_sheet=partial(rows_of_sheet, load=load_session),
    reject=list,
    subject=lambda session: (session.athlete_id, session.starts_at.isoformat()),
    outcome=lambda logged: "created" if logged.is_new else "unchanged",
    answer=in_language_of_request,
    answer_cells=logged_in_row,
    problem_cells=SessionRowAnswer,
)


def _describe_batch(
    body: StrictSchema, result: type[StrictSchema], problem: type[StrictSchema]
) -> Callable[[View], View]:
    """Describe how a batch is sent and answered, for openapi.yaml."""
    schemas: dict[str, Any] = {JSON: body} | _SHEETS
    bodies = {"required": True, "content": {kind: {"schema": schemas[kind]} for kind in schemas}}
    of = batches.alt_response
    sheets = (
        of(
            status,
            schema=_SHEETS[kind],
            content_type=kind,
            description=description,
            headers=DESCRIBED_REMARKS,
        )
        for status, description in _DESCRIPTIONS.items()
        for kind in (CSV, XLSX)
    )
    parts = (
        batches.arguments(BatchQuerySchema, location="query"),
        batches.doc(requestBody=bodies),
        batches.response(_ALL_ACCEPTED, result, description=_ACCEPTED),
        of(_SOME_REJECTED, schema=result, description=_REJECTED),
        of(_NOTHING_STORED, schema=problem, content_type=PROBLEM_JSON, description=_NOTHING),
        *sheets,
    )
    return lambda view: reduce(lambda inner, part: part(inner), reversed(parts), view)


@batches.route("/check-ins/batch", methods=["POST"])
@_describe_batch(CHECK_IN_BATCH, BatchResultSchema, BatchProblemSchema)
def post_check_ins(query: BatchQuery) -> Answer:
    """Store many check-ins and give the advice of each.

    The results are in the order sent. If CSV is asked for, the sheet comes back with the advice
    beside each row; if .xlsx is, the workbook that was sent.
    """
    with errors_in_request_language():
        return _answer(_CHECK_INS, query, context().answer_rows_for(caller().id))


@batches.route("/sessions/batch", methods=["POST"])
@_describe_batch(SESSION_BATCH, SessionBatchResultSchema, SessionBatchProblemSchema)
def post_sessions(query: BatchQuery) -> Answer:
    """Log many sessions, and say of each what became of today's advice.

    The results are in the order sent. If CSV is asked for, the sheet comes back with the ids of the
    sessions beside its rows; if .xlsx is, the workbook that was sent.
    """
    with errors_in_request_language():
        return _answer(_SESSIONS, query, context().log_for(caller().id))


def _answer(kind: Kind[T, A], query: BatchQuery, begin: Begin[T, A]) -> Answer:
    sheet, rows = _rows(kind, query)
    form = preferred_media_type((JSON, CSV, XLSX), query.format)
    book = AnswerBook.open(sheet) if form == XLSX else None
    submit = submit_all_or_none if query.atomic else submit_each
    outcomes = submit(context().store, kind.reject(rows), begin)
    if form == JSON:
        return _json_answer(kind, sheet, outcomes)
    return _sheet_answer(kind, book, sheet or _sheet(kind, rows), outcomes)


def _rows(kind: Kind[T, A], query: BatchQuery) -> tuple[Sheet | None, list[Row[T]]]:
    request.max_content_length = context().settings.batch_body_limit_bytes
    refuse_other_than(JSON, *_SHEETS)
    if request.mimetype in _SHEETS:
        sheet = read_sheet(request.get_data(), kind.layout, _read_options(kind, query))
        return sheet, kind.rows_of_sheet(sheet)
    entries = load(kind.body, json_body())[kind.many]
    _check_count(kind, query, len(entries))
    return None, rows_of_json(entries, kind.load, f"/{kind.many}")


def _check_count(kind: Kind[T, A], query: BatchQuery, count: int) -> None:
    """Raise ``InvalidInput`` for more rows than are answered at once, or none; before they are
    read, as reading many takes long."""
    limit, told = context().settings.batch_row_limit, {"many": lazy(kind.label), "count": count}
    if not 0 < count <= limit:
        raise InvalidInput(lazy("sheet.how_many", most=limit, **told))
    if query.atomic and count > MOST_OF_ALL_OR_NONE:
        raise InvalidInput(lazy("sheet.all_or_none", most=MOST_OF_ALL_OR_NONE, **told))


def _read_options(kind: Kind[T, A], query: BatchQuery) -> ReadOptions:
    athletes, chosen = context().store.read(
        lambda transaction: (transaction.athletes.all(), chosen_meanings(transaction))
    )
    return ReadOptions(
        date_order=DateOrder(query.date_order) if query.date_order else None,
        table=query.sheet,
        zone_of=zones_of(athletes),
        people=people_of(athletes),
        today=context().clock().date(),
        chosen=chosen,
        check_count=partial(_check_count, kind, query),
    )


def _sheet_answer(
    kind: Kind[T, A], book: AnswerBook | None, sheet: Sheet, outcomes: Sequence[RowOutcome[T, A]]
) -> Response:
    cells = [outcome_cells(kind, one, texts()) for one in outcomes]
    status = _status(outcomes)
    if book:
        answer = xlsx_answer(book.with_answers(cells), f"{kind.file_name}.xlsx", status)
    else:
        answer = csv_answer(write_sheet(sheet, cells), f"{kind.file_name}.csv", status)
    answer.headers.extend(remarks_header(sheet))
    return answer


def _sheet(kind: Kind[T, A], rows: Sequence[Row[T]]) -> Sheet:
    nobody = [""] * len(kind.layout.required)
    entries = (row.entry for row in rows)
    subjects = (nobody if isinstance(e, DawnruleError) else kind.subject(e) for e in entries)
    return Sheet.of(kind.layout, subjects)


def _status(outcomes: Sequence[RowOutcome[T, A]]) -> int:
    if not any(one.is_rejected for one in outcomes):
        return _ALL_ACCEPTED
    return _SOME_REJECTED if any(one.is_stored for one in outcomes) else _NOTHING_STORED


def _json_answer(
    kind: Kind[T, A], sheet: Sheet | None, outcomes: Sequence[RowOutcome[T, A]]
) -> Answer:
    result = BatchResult(
        sum(one.is_stored for one in outcomes),
        sum(one.is_rejected for one in outcomes),
        sheet.reading(texts()) if sheet else None,
        [row_result(kind, one, _catalogue_for(sheet)) for one in outcomes],
    )
    status = _status(outcomes)
    if status != _NOTHING_STORED:
        return result, status
    counts = {"rejected": result.rejected, "count": len(outcomes)}
    nothing = InvalidInput(lazy("sheet.nothing_stored", many=lazy(kind.label), **counts))
    problem = problem_of(render_error(nothing, _catalogue_for(sheet)))
    return problem_answer(problem, extension=kind.result.dump(result))


def _catalogue_for(sheet: Sheet | None) -> Texts:
    """Return the sender's catalogue; programs that send JSON get English."""
    return texts() if sheet else Texts.bundled()
