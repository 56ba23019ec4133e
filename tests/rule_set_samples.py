"""Which rule sets do the tests publish?"""

from __future__ import annotations

CLUB = """\
rule_set: club
version: 1.0.0
summary: The baseline for a club that sleeps well.
extends: baseline@1.1.0
rules:
  - id: club-sleep
    title: A short night and tired
    scope: day
    when:
      all:
        - {fact: sleep_hours, below: 7.5}
        - {fact: fatigue, at_least: 4}
    verdict: rest
    reason: "{sleep_hours:.1f} h of sleep are too few for us."
    caution: Sleep first.
    basis: {kind: house, source: house judgement}
    wrong_when: When the athlete naps.
    examples:
      - {facts: {sleep_hours: 7.4, fatigue: 4}, fires: true}
      - {facts: {sleep_hours: 7.4, fatigue: 3}, fires: false}
      - {facts: {sleep_hours: 7.5, fatigue: 4}, fires: false}
"""
"""With it a night of 7 h and a fatigue of 4 mean rest."""

STRICTER = CLUB.replace("1.0.0", "2.0.0", 1).replace("7.5", "8").replace("7.4", "7.9")
"""Another version of the same."""

WRONG_WAY = """\
rule_set: wrong-way
version: 1.0.0
summary: More soreness buys more training.
rules:
  - id: rest-when-fresh
    title: Rest when fresh
    scope: part
    when: {fact: soreness, below: 3}
    verdict: rest
    reason: "Soreness is {soreness:.0f}."
    caution: None.
    basis: {kind: house, source: house judgement}
    wrong_when: Always.
    examples:
      - {facts: {soreness: 2}, fires: true}
      - {facts: {soreness: 3}, fires: false}
"""

ALONE = """\
rule_set: alone
version: 1.0.0
summary: What a club adds, with nothing of the baseline.
""" + CLUB[CLUB.index("rules:") :]
"""A sound rule, but no warning sign means rest."""
