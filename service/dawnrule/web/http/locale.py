"""In which language is a request answered?

What the address says (``?lang=de``) comes first, then the Accept-Language header, then the language
of the athlete whom it is about, then English; at a private address the athlete's own comes before
the header. Only languages with a catalogue count.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from flask import Flask, Response, g, request

from dawnrule.advice.composer import Composer
from dawnrule.advice.summary import cautions_on_pain, left_open_in, spoken_summary
from dawnrule.application.read_advice import read_advice
from dawnrule.i18n.catalog import ENGLISH, Texts, capital, languages
from dawnrule.model import Verdict
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


def language() -> str:
    """The language of this request."""
    if "language" not in g:
        g.language = _named_in_address() or _named_in_headers() or ENGLISH
    spoken_summary: str = g.language
    return spoken_summary


def speak_to_reader(of_reader: str | None) -> None:
    """Answer this request in the reader's own language, whatever the browser would like; for
    private addresses, of which the reader is known. The address still comes first."""
    if of_reader in languages() and not _named_in_address():
        g.language = of_reader


def speak_unless_asked(of_reader: str | None) -> None:
    """Answer this request in the reader's own language where no other was asked for."""
    if not _named_in_headers():
        speak_to_reader(of_reader)


def composer() -> Composer:
    """What tells advice in the language of this request."""
    return Composer.bundled(language())


def told_here(stored: StoredAdvice) -> dict[str, Any]:
    """Stored advice as plain JSON values, in the language of this request."""
    return read_advice(stored, context().advisor.library, composer())


def told_again(advice: dict[str, Any]) -> dict[str, Any]:
    """Advice that was just given (plain JSON values), in the language of this request."""
    if language() == ENGLISH:
        return advice
    stored = context().store.read(lambda transaction: transaction.advice.get(advice["advice_id"]))
    return told_here(stored) if stored else advice


def spoken_here(advice: Mapping[str, Any]) -> str:
    """Advice (plain JSON values, in this request's language) as a phone speaks it; whoever is told
    to train hears too what the check-in left open."""
    said = spoken_summary(advice, composer(), heeded_of_pain(advice))
    is_told_to_train = advice["parts"] and advice["verdict"] == Verdict.TRAIN
    return f"{said} {left_open_in(advice, composer())}".strip() if is_told_to_train else said


def heeded_of_pain(advice: Mapping[str, Any]) -> list[str]:
    """What the notes of an advice on pain, illness or a warning sign say."""
    return cautions_on_pain(advice, context().advisor.library, composer())


def left_open(advice: Mapping[str, Any]) -> str:
    """A sentence on what of warning signs, pain and illness was not answered; empty if all was, and
    if the caution says so already."""
    said = left_open_in(advice, composer())
    return "" if said in advice["caution"] else said


def texts() -> Texts:
    """The catalogue in the language of this request."""
    return Texts.bundled(language())


def say(name: str, /, **values: object) -> str:
    """A sentence of the catalogue in the language of this request. Raises ``KeyError``."""
    return texts().say(name, **values)


def label(identifier: str) -> str:
    """How a goal, muscle group, pattern, modality or verdict is called in this request's
    language."""
    return composer().vocabulary.label(identifier)


def in_language(response: Response) -> Response:
    """The response with a header that says in which language its words are."""
    response.headers["Content-Language"] = language()
    return response


def of_rule(english: str) -> str:
    """A text of a rule set in the language of this request; as it was written where it was never
    translated."""
    return texts().of_rule(english)


def speak_in_templates(app: Flask) -> None:
    """Let the templates of an application say sentences and words, and name their language."""
    app.jinja_env.globals.update(
        say=say,
        label=label,
        capital=capital,
        language=language,
        of_rule=of_rule,
        left_open=left_open,
    )


def _named_in_address() -> str | None:
    if not request.query_string:  # what most requests lack need not be parsed
        return None
    named = request.args.get("lang")
    return named if named in languages() else None


def _named_in_headers() -> str | None:
    """The language of ours that is liked best; German as spoken in Austria is German."""
    if "Accept-Language" not in request.headers:
        return None
    liked = (
        named.lower().partition("-")[0] for named, quality in request.accept_languages if quality
    )
    return next((named for named in liked if named in languages()), None)
