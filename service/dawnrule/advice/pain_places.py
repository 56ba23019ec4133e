"""Where does it hurt, when a rule on pain holds back a part? (pure)

The pain may be reported elsewhere than at the part's own muscle group, and may name none. Then it
is told in the athlete's own words, so that a bad knee is never told as pain of the chest.
"""

from __future__ import annotations

import re

from dawnrule.facts.check_in import CheckIn, Pain
from dawnrule.facts.pain import fact_of, pains_of_part
from dawnrule.rules.rule_set import Rule
from dawnrule.vocabulary import Facts, Vocabulary

_SENTENCE_ENDS = re.compile(r"[.!?]+(?=\s|$)")
"""These are left out of a place: what is spoken of a reason ends with its first sentence."""


def pain_places(
    rule: Rule,
    check_in: CheckIn,
    block: int,
    group: str | None,
    facts: Facts,
    vocabulary: Vocabulary,
) -> tuple[str, ...]:
    """Where the pain was reported by which a rule fired on a part: the part's muscle group (its
    id) where it hurts there, else the athlete's words. Empty for a rule that reads anything but
    pain; ``block`` is the index in the plan, and ``facts`` are those the rule fired on."""
    if not set(rule.reads) <= {fact_of(kind) for kind in vocabulary.pain_kinds}:
        return ()
    told = (
        _place(pain, group)
        for pain in pains_of_part(check_in, check_in.plan[block], group, vocabulary)
        if fact_of(pain.kind) in rule.reads and facts.get(fact_of(pain.kind)) is True
    )
    return tuple(dict.fromkeys(filter(None, told)))


def _place(pain: Pain, group: str | None) -> str:
    if group is not None and group in pain.muscle_groups:
        return group
    return " ".join(_SENTENCE_ENDS.sub("", pain.where).split())
