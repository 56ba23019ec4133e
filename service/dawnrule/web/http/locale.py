"""The language of a request.

The address (``?lang=de``) comes first, then the Accept-Language header, then the language of the
athlete, then English; at a private address the athlete's own comes before the header. Only
languages with a catalogue count.
"""

from __future__ import annotations

from datetime import date, datetime

from flask import Flask, Response, g, request

from dawnrule.advice.composer import Composer
from dawnrule.advice.summary import (
    cautions_on_pain,
    is_by_block,
    spoken_summary,
    unanswered_questions,
)
from dawnrule.advice.translation import in_todays_words
from dawnrule.application.read_advice import read_advice
from dawnrule.i18n.catalog import ENGLISH, Texts, capital, languages
from dawnrule.i18n.dates import date_text, moment_text, with_dates_to_read
from dawnrule.model import Verdict
from dawnrule.model.advice import Advice, NoAdvice
from dawnrule.store import StoredAdvice
from dawnrule.web.context import context

LANG = {
    "name": "lang",
    "in": "query",
    "description": "The language to answer in, instead of Accept-Language. One that there is not "
    "is passed over.",
    "schema": {"type": "string", "examples": ["de"]},
}
"""How an address names the language, as it is described."""


_CONTENT_LANGUAGE = "Content-Language"


def language() -> str:
    """Return the language of this request."""
    if "language" not in g:
        g.language = _named_in_address() or _named_in_headers() or ENGLISH
    chosen: str = g.language
    return chosen


def language_asked_for() -> str | None:
    """Return the language that the address of this request names, None where it names none; for
    the address of what comes next."""
    return _named_in_address()


def prefer_language(of_reader: str | None) -> None:
    """Answer this request in the reader's own language, whatever the headers say; for private
    addresses, whose reader is known. The address still comes first."""
    if of_reader in languages() and not _named_in_address():
        g.language = of_reader


def default_to_language(of_reader: str | None) -> None:
    """Answer this request in the reader's own language unless another was asked for."""
    if not _named_in_headers():
        prefer_language(of_reader)


def composer() -> Composer:
    """Return the composer of advice in the language of this request."""
    return Composer.bundled(language())


def read_localized(stored: StoredAdvice) -> Advice:
    """Read stored advice in the language of this request."""
    return read_advice(stored, context().advisor.library, composer())


def localize(advice: Advice) -> Advice:
    """Say advice that was just given in the language of this request, and in the words of today."""
    if language() == ENGLISH:
        return in_todays_words(advice, texts())
    advice_id = advice.advice_id
    if advice_id is None:
        return advice
    stored = context().store.read(lambda transaction: transaction.advice.get(advice_id))
    return read_localized(stored) if stored else advice


def spoken_advice(advice: Advice | NoAdvice) -> str:
    """Summarise advice for a phone to speak, in the language of this request; to athletes who train
    it adds what the check-in left unanswered."""
    summary = spoken_summary(advice, composer(), pain_cautions(advice))
    if advice.parts and advice.verdict is Verdict.TRAIN:
        return f"{summary} {unanswered_questions(advice, composer())}".strip()
    return summary


def pain_cautions(advice: Advice | NoAdvice) -> list[str]:
    """List the cautions of an advice's notes on pain, illness or a warning sign."""
    return cautions_on_pain(advice, context().advisor.library, composer())


def unanswered_sentence(advice: Advice) -> str:
    """Say which questions that can stop training were not answered; empty if all were, or if the
    caution says so already."""
    sentence = unanswered_questions(advice, composer())
    return "" if sentence in advice.caution else sentence


def decided_by_block(advice: Advice) -> bool:
    """Tell whether advice was decided block by block."""
    return is_by_block(advice, context().advisor.library, composer())


def texts() -> Texts:
    """Return the catalogue in the language of this request."""
    return Texts.bundled(language())


def say(name: str, /, **values: object) -> str:
    """Say a sentence of the catalogue in the language of this request. Raises ``KeyError``."""
    return texts().say(name, **values)


def dated(value: date | str | None) -> str:
    """Write a date, a moment (on the clock of its own zone), or a sentence that holds some, as
    people read them in the language of this request; empty for None."""
    today = context().clock().date()
    match value:
        case datetime():
            return moment_text(value, texts(), today)
        case date():
            return date_text(value, texts(), today)
        case _:
            return with_dates_to_read(value or "", texts(), today)


def label(identifier: str) -> str:
    """Label a goal, muscle group, pattern, modality or verdict in this request's language."""
    return composer().vocabulary.label(identifier)


def with_language(response: Response) -> Response:
    """Add the Content-Language header."""
    response.headers[_CONTENT_LANGUAGE] = language()
    return response


def language_header() -> dict[str, str]:
    """Return the Content-Language header."""
    return {_CONTENT_LANGUAGE: language()}


def of_rule(english: str) -> str:
    """Translate a text of a rule set to the language of this request; it stays English where there
    is no translation."""
    return texts().of_rule(english)


def add_to_templates(app: Flask) -> None:
    """Make the sentences and words of this request available in templates."""
    app.jinja_env.globals.update(
        say=say,
        label=label,
        capital=capital,
        language=language,
        language_asked_for=language_asked_for,
        of_rule=of_rule,
        unanswered_sentence=unanswered_sentence,
    )
    app.jinja_env.filters["dated"] = dated


def _named_in_address() -> str | None:
    if not request.query_string:  # what most requests lack need not be parsed
        return None
    named = request.args.get("lang")
    return named if named in languages() else None


def _named_in_headers() -> str | None:
    """Return the preferred language that has a catalogue; Austrian German counts as German."""
    if "Accept-Language" not in request.headers:
        return None
    liked = (
        named.lower().partition("-")[0] for named, quality in request.accept_languages if quality
    )
    return next((named for named in liked if named in languages()), None)
