"""Summaries of advice in a few sentences, for speech, tables and sheets (pure)."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from datetime import date

from dawnrule.advice.composer import Composer, RestingParts, unanswered_text
from dawnrule.errors import NotFound
from dawnrule.i18n.catalog import Texts
from dawnrule.model import Verdict
from dawnrule.model.advice import Advice, Alternative, BlockAdvice, NoAdvice
from dawnrule.rules.registry import RuleSetLibrary

_SENTENCE_END = re.compile(r"(?<=[.!?])\s+(?=[A-ZÀ-ÖØ-Þ0-9¿¡])")


def until_corrected(advice: Advice, texts: Texts) -> NoAdvice:
    """Say that there is no verdict on an athlete who told of pain or illness in a row that cannot
    be read as a whole: by these alone, the ``advice`` would be to train."""
    return NoAdvice(
        advice.athlete_id,
        advice.date,
        headline=texts.say("table.no_verdict"),
        reason=texts.say("table.dangers_alone"),
        caution=texts.say("table.until_corrected"),
    )


def spoken_summary(
    advice: Advice | NoAdvice, composer: Composer, cautions_on_pain: Sequence[str] = ()
) -> str:
    """Summarise advice in a few sentences that a phone can speak: the verdict with its reason, the
    caution and the ``cautions_on_pain``, and which part rests on a day that goes on.

    On a day of rest that asks for medical care, that comes first. Of the caution the first sentence
    is spoken and each on care, such as "get medical care now"; on a day of rest, and of the
    cautions on pain, all. Without a check-in the headline is the summary.
    """
    if isinstance(advice, NoAdvice):
        return advice.headline
    caution = advice.caution.removesuffix(unanswered_questions(advice, composer))
    if advice.verdict is not Verdict.REST:
        caution = spoken_caution(caution, composer.texts)
    caution = " ".join([caution, *cautions_on_pain])
    if advice.rule is None and not advice.parts:
        return f"{advice.headline} {caution}"
    if _is_urgent(advice, composer.texts):  # what to do now comes before why
        why = f"{verdict_text(advice, composer)}: {first_sentence(advice.reason)}"
        return f"{' '.join(caution.split())} {why}"
    summary = composer.texts.say(
        "spoken",
        verdict=verdict_text(advice, composer),
        reason=first_sentence(advice.reason),
        caution=" ".join(caution.split()),
    )
    rest = _resting_parts(advice, composer)
    resting = f"{rest.text}." if rest and not rest.decides else ""
    sentences = (summary, resting, *sessions_sentences(advice, composer))
    return " ".join(filter(None, sentences))


def sessions_sentences(advice: Advice, composer: Composer) -> Iterator[str]:
    """Say in a sentence for each block what may be done of it or in its place, and what goes on as
    planned beside it. Nothing for advice from before blocks had sessions."""
    if not any(block.has_sessions for block in advice.blocks):
        return
    texts = composer.texts
    named = len(advice.blocks) > 1
    for block in advice.blocks:
        what = block_name(block, composer)
        first = next(iter(block.alternatives), None)
        if block.limits and block.is_trained:
            limits = texts.listing(block.limits_said)
            name = "alternative.limits_of" if named else "alternative.limits"
            yield texts.say(name, what=what, limits=limits)
        elif first is not None:
            name = "alternative.instead_of" if named else "alternative.instead"
            yield texts.say(name, what=what, session=session_text(first, composer))
    as_planned = [
        block_name(block, composer)
        for block in advice.blocks
        if block.verdict is Verdict.TRAIN and not block.limits
    ]
    if as_planned and advice.verdict is not Verdict.TRAIN:
        yield texts.say("alternative.as_planned", what=texts.listing(as_planned))


def block_name(block: BlockAdvice, composer: Composer) -> str:
    """Name a block by its goal and its muscle groups."""
    label, groups = composer.vocabulary.label, map(composer.vocabulary.label, block.muscle_groups)
    names = composer.texts.listing(list(groups))
    return f"{label(block.goal)} ({names})" if names else label(block.goal)


def session_text(session: Alternative, composer: Composer) -> str:
    """Say what to do instead, how much of it and how hard."""
    texts, label = composer.texts, composer.vocabulary.label
    words = (session.goal, session.pattern, session.muscle_group, session.modality)
    said = [label(word) for word in words if word]
    if session.within_limits:
        said = [texts.say("alternative.planned")]
    if session.sets is not None and session.reps is not None:
        said.append(texts.say("alternative.sets_of_reps", sets=session.sets, reps=session.reps))
    elif session.sets is not None:
        said.append(texts.say("alternative.sets", sets=session.sets))
    if session.minutes is not None:
        said.append(texts.say("alternative.minutes", minutes=session.minutes))
    if session.minutes is None and session.sets is None and not session.within_limits:
        said.append(texts.say("alternative.as_much"))
    if session.effort is not None:
        effort = texts.number(f"{session.effort:g}")
        said.append(texts.say("alternative.effort", effort=effort))
    if session.reps_in_reserve is not None:
        least = texts.number(f"{session.reps_in_reserve:g}")
        said.append(texts.say("limits.reps_in_reserve", least=least))
    return ", ".join(said)


def session_with_reason(session: Alternative, composer: Composer) -> str:
    """Say what to do instead, and why it is allowed."""
    text = session_text(session, composer)
    if session.because is None:
        return text
    return composer.texts.say("alternative.text", session=text, because=session.because)


def is_by_block(advice: Advice, library: RuleSetLibrary, composer: Composer) -> bool:
    """Tell whether advice was decided block by block: by a rule set of the second edition, or,
    where that is gone, by what the advice holds."""
    try:
        rule_set = library.by_digest(advice.rule_set.digest)
    except NotFound:
        return any(block.has_sessions for block in advice.blocks)
    return rule_set.decides_by_block(composer.dictionary)


def cautions_on_pain(
    advice: Advice | NoAdvice, library: RuleSetLibrary, composer: Composer
) -> list[str]:
    """List what a short form of advice must not leave out of notes although they change no verdict:
    the cautions of those on pain, illness or a warning sign, and of others what says when to get
    medical care.

    None on a day of rest, so that nothing follows "get medical care now". All notes where the rule
    set is gone.
    """
    if isinstance(advice, NoAdvice) or not advice.notes or advice.verdict is Verdict.REST:
        return []
    try:
        rules = library.by_digest(advice.rule_set.digest).rules
    except NotFound:
        return [note.caution for note in advice.notes if note.caution]
    stops = {rule.id for rule in rules if rule.is_stop_note(composer.dictionary)}
    told = (
        note.caution
        if note.rule.id in stops
        else " ".join(_sentences_with("urgent_words", note.caution, composer.texts))
        for note in advice.notes
        if note.caution
    )
    return [*dict.fromkeys(filter(None, told))]


def unanswered_questions(advice: Advice | NoAdvice, composer: Composer) -> str:
    """Say which questions that can stop training a check-in left open; empty if none."""
    trains = bool(advice.parts) and advice.verdict is Verdict.TRAIN
    return unanswered_text(advice.not_reported, composer.texts, trains=trains)


def verdict_text(advice: Advice, composer: Composer) -> str:
    """Say the verdict; that on the resting parts where their rule decides the day."""
    rest = _resting_parts(advice, composer)
    return (
        rest.text
        if rest and rest.decides
        else composer.verdict_label(advice.verdict, advice.blocks)
    )


def reason_text(advice: Advice | NoAdvice, composer: Composer, *, short: bool = False) -> str:
    """Say the reason where no headline stands beside it, with the parts that rest on a day that
    goes on and the sessions in place of blocks; ``short`` takes its first sentence, and no
    sessions."""
    reason = first_sentence(advice.reason) if short else advice.reason
    if isinstance(advice, NoAdvice):
        return reason
    rest = _resting_parts(advice, composer)
    if rest is not None:
        reason = f"{rest.text}: {reason}" if rest.decides else f"{reason} {rest.text}."
    sessions = () if short else sessions_sentences(advice, composer)
    return " ".join([reason, *sessions])


def without_check_in(athlete_id: str, day: date, composer: Composer) -> NoAdvice:
    """Answer for a date without a check-in."""
    return NoAdvice(athlete_id, day, composer.texts.say("no_check_in", date=day.isoformat()))


def first_sentence(text: str) -> str:
    """The first sentence of a text, on one line."""
    return _SENTENCE_END.split(" ".join(text.split()), maxsplit=1)[0]


def spoken_caution(caution: str, texts: Texts) -> str:
    """Shorten a caution to its first sentence and those on care. A coach's own words may be
    English in any language, hence English words of care count too."""
    first, *others = _SENTENCE_END.split(" ".join(caution.split()))
    return " ".join([first, *_sentences_with("care_words", " ".join(others), texts)])


def _is_urgent(advice: Advice, texts: Texts) -> bool:
    """Tell whether a day of rest begins with getting care, as with a warning sign."""
    first = first_sentence(advice.caution)
    return advice.verdict is Verdict.REST and any(_sentences_with("urgent_words", first, texts))


def _sentences_with(words: str, text: str, texts: Texts) -> Iterator[str]:
    """The sentences of a text with words of the catalogue, those of its own language or English."""
    either = "|".join((texts.say(words), Texts.bundled().say(words)))
    pattern = re.compile(rf"\b(?:{either})", re.IGNORECASE)
    return filter(pattern.search, _SENTENCE_END.split(" ".join(text.split())))


def _resting_parts(advice: Advice, composer: Composer) -> RestingParts | None:
    return RestingParts.of_advice(advice, composer.vocabulary, composer.texts)
