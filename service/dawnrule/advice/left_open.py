"""Which of warning signs, pain and illness was not answered? Silence is no all-clear. (pure)"""

from __future__ import annotations

from collections.abc import Collection

from dawnrule.vocabulary import Texts

UNANSWERED = {"warning_signs": "chest_pain", "pain": "pain_reported", "illness": "illness"}
"""What stops training, as a check-in asks for it, each with a fact that is known once it was
answered."""


def unanswered(not_reported: Collection[str]) -> list[str]:
    """Which of them a check-in left open, by the facts that were not reported."""
    return [asked for asked, fact in UNANSWERED.items() if fact in not_reported]


def left_open(not_reported: Collection[str], texts: Texts, *, trains: bool) -> str:
    """A sentence or two on what was left open; to who ``trains`` also what to do about it. Empty
    if all was answered."""
    what = texts.listing([texts.say(f"left_open.{one}") for one in unanswered(not_reported)])
    if not what:
        return ""
    if trains:
        return texts.say("left_open.trains", what=what)
    return texts.say("left_open.sentence", what=what)
