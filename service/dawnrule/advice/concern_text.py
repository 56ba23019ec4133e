"""Concerns in words: what is open about an athlete, since when, and who can lift it (pure)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from dawnrule.advice.composer import Composer
from dawnrule.i18n.catalog import capital
from dawnrule.model.concerns import Concern, ConcernEvent, ConcernState, Restrictions


@dataclass(frozen=True, slots=True)
class ConcernText:
    """A concern for people to read: what it is, how it stands, and what lifts it; ``limits`` are
    what the athlete may not do, and ``correction`` is empty unless one waits to be confirmed."""

    title: str
    state: str
    lifted: str
    limits: tuple[str, ...]
    correction: str

    def __str__(self) -> str:
        """All of it as one paragraph."""
        limits = f"{'; '.join(self.limits)}." if self.limits else ""
        sentences = (f"{self.title}:", self.state, capital(limits), self.correction, self.lifted)
        return " ".join(filter(None, sentences))


def describe_concern(concern: Concern, composer: Composer) -> ConcernText:
    """Put a concern into words."""
    say = composer.texts.say
    return ConcernText(
        title=_title(concern, composer),
        state=_state(concern, composer),
        lifted="" if concern.is_closed else say(f"concerns.lifted_{_lifted_by(concern)}"),
        limits=tuple(_limits(concern, composer)),
        correction=(
            say("concerns.correction", date=concern.correction_on) if concern.correction_on else ""
        ),
    )


def _title(concern: Concern, composer: Composer) -> str:
    """Name the kind, and what was reported."""
    words = composer.vocabulary
    about = [words.label(sign) for sign in concern.signs]
    if concern.illness:
        about.append(words.label(concern.illness))
    if concern.pain:
        groups = [words.label(group) for group in concern.pain.muscle_groups]
        about.append(concern.pain.where or composer.texts.listing(groups))
    if concern.restriction:
        about.append(words.label(concern.restriction.reason))
    kind = composer.texts.say(f"concerns.kind_{concern.kind}")
    named = composer.texts.listing([word for word in about if word])
    return f"{kind} ({named})" if named else kind


def _state(concern: Concern, composer: Composer) -> str:
    say = composer.texts.say
    if concern.is_void:
        return say("concerns.state_void")
    dates = {"began": concern.began_on, "last": concern.last_reported_on}
    if concern.state is ConcernState.RETURNING:
        return say("concerns.state_returning", stage=concern.stage, date=concern.stage_on)
    if concern.is_closed:
        return say("concerns.state_closed", date=concern.closed_on)
    name = "open_once" if concern.began_on == concern.last_reported_on else "open"
    return say(f"concerns.state_{name}", **dates)


def _lifted_by(concern: Concern) -> str:
    if concern.suspected:
        return "suspected"
    if concern.state is ConcernState.RETURNING:
        return "returning"
    return concern.lifted_by


def _limits(concern: Concern, composer: Composer) -> Iterator[str]:
    """Say what a restriction and a clearance do not allow."""
    for source in (concern.restriction, concern.clearance):
        if source is not None:
            yield from _limits_of(source.restrictions, composer)
            if source.until is not None:
                yield composer.texts.say("concerns.until", date=source.until)


def _limits_of(limits: Restrictions, composer: Composer) -> Iterator[str]:
    texts, words = composer.texts, composer.vocabulary
    lists = {
        "muscle_groups_rest": limits.muscle_groups_rest,
        "goals_not": limits.goals_not,
        "modalities_not": limits.modalities_not,
    }
    if limits.rests_everything:
        yield texts.say("concerns.rests_everything")
    for name, ids in lists.items():
        if ids:
            yield texts.say(f"concerns.{name}", what=texts.listing([words.label(i) for i in ids]))
    if limits.effort_at_most is not None:
        yield texts.say("concerns.effort_at_most", effort=f"{limits.effort_at_most:g}")
    if limits.minutes_at_most is not None:
        yield texts.say("concerns.minutes_at_most", minutes=f"{limits.minutes_at_most:g}")
    if limits.no_contact:
        yield texts.say("concerns.no_contact")
    if limits.no_maximal:
        yield texts.say("concerns.no_maximal")


@dataclass(frozen=True, slots=True)
class EventText:
    """An event in the history of a concern: when it was recorded (aware), and what it was."""

    at: datetime
    what: str


def describe_events(concern: Concern, composer: Composer) -> tuple[EventText, ...]:
    """Put the history of a concern into words, the oldest event first."""
    return tuple(EventText(one.at, _event(one, composer)) for one in concern.events)


def _event(event: ConcernEvent, composer: Composer) -> str:
    """Say what happened, by whom, and with which terms."""
    say, label = composer.texts.say, composer.vocabulary.label
    by = say(f"concerns.by_{event.by}")
    about = [label(sign) for sign in event.signs]
    about += [label(word) for word in (event.illness, event.pain and event.pain.kind) if word]
    about += [event.pain.where] if event.pain and event.pain.where else []
    for source in (event.restriction, event.clearance):
        if source is not None:
            about += _limits_of(source.restrictions, composer)
            about += [say("concerns.until", date=source.until)] if source.until else []
    if event.restriction:
        about.insert(0, label(event.restriction.reason))
    name = event.name or (event.clearance.name if event.clearance else None)
    what = say(f"concerns.event_{event.kind}", stage=event.stage)
    named = say("concerns.event_by_name", by=by, name=name) if name else by
    return say("concerns.event", what=what, by=named) + (f" {'; '.join(about)}." if about else "")
