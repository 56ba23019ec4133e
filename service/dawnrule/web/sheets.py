"""How do answers stand in a sheet that a coach opens?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dawnrule.advice.training import Logged
from dawnrule.sheet import RowAnswer, SessionRowAnswer
from dawnrule.web.service import service


def advice_in_row(advice: Mapping[str, Any]) -> RowAnswer:
    """What of an advice (plain JSON values) stands beside its row; why there is none, if so."""
    return RowAnswer.of_advice(advice, service().advisor.composer.vocabulary)


def logged_in_row(logged: Logged) -> SessionRowAnswer:
    """What stands beside the row of a session that was logged."""
    if logged.today is None:
        return SessionRowAnswer(logged.session_id)
    advice = logged.today.advice
    verdict = service().advisor.composer.vocabulary.label(advice["verdict"])
    return SessionRowAnswer(logged.session_id, verdict, advice["headline"])
