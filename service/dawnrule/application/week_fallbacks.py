"""What to do in place of a session of a week if its morning says no, by the same rules."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from dawnrule.advice.advisor import Advisor, Morning
from dawnrule.advice.summary import session_text
from dawnrule.model import Verdict
from dawnrule.model.training import groups_of
from dawnrule.rules.rule_set import RuleSet

if TYPE_CHECKING:
    from dawnrule.week.judge import Judge
    from dawnrule.week.report import Fallback
    from dawnrule.week.request import Placed


@dataclass(frozen=True, slots=True)
class Fallbacks:
    """Asks the rules for the sessions of one athlete: on the morning that is expected, but with the
    muscle groups of the session at ``soreness`` (0 to 10), what would they offer instead? Where
    soreness keeps it from nothing, the day is rested."""

    advisor: Advisor
    rule_set: RuleSet
    judge: Judge
    soreness: float

    def of(self, session: Placed, sessions: Sequence[Placed]) -> Fallback:
        """Find what to do in place of a session of a week that holds others."""
        from dawnrule.week.report import Fallback

        words, known = self.advisor.composer.vocabulary, self.judge.known
        day = self.judge.date_of(session)
        check_in, history = self.judge.morning(sessions, day)
        own = replace(check_in, plan=session.timed_blocks())
        groups = {group for block in own.plan for group in groups_of(block, words)}
        felt = {
            group: max(self.soreness, (check_in.soreness or {}).get(group, 0)) for group in groups
        }
        sore = replace(own, soreness={**(check_in.soreness or {}), **felt})
        now = max(check_in.reported_at or known.now, known.now)
        morning = Morning(known.athlete, sore, history, now)
        advice = self.advisor.consider(morning, self.rule_set, None).advice
        refused = [one for one in advice.blocks if one.verdict is not Verdict.TRAIN]
        found = tuple(one.alternatives[0] for one in refused if one.alternatives)
        texts = self.advisor.composer.texts
        if not found:
            return Fallback((), texts.say("week.fallback_rest"))
        said = dict.fromkeys(session_text(one, self.advisor.composer) for one in found)
        return Fallback(found, texts.say("week.fallback", sessions="; ".join(said)))
