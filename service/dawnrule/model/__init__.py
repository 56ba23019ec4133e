"""Entities, vocabulary and fact dictionary that all other packages share.

- ``entities``: athletes, check-ins, sessions, history; ``training``: what a block trains.
- ``vocabulary`` and ``fact_dictionary``: the words and the facts of ``rules/``.
- ``advice``: the answer; ``serialization``: entities as JSON values and back.
"""

from dawnrule.i18n.catalog import Texts
from dawnrule.model.fact_dictionary import (
    EVERY_EDITION,
    FIRST_EDITION,
    SECOND_EDITION,
    FactDefinition,
    FactDictionary,
    Facts,
    FactValue,
    Scope,
    is_number,
)
from dawnrule.model.vocabulary import Modality, Pattern, Verdict, Vocabulary

__all__ = [
    "EVERY_EDITION",
    "FIRST_EDITION",
    "SECOND_EDITION",
    "FactDefinition",
    "FactDictionary",
    "FactValue",
    "Facts",
    "Modality",
    "Pattern",
    "Scope",
    "Texts",
    "Verdict",
    "Vocabulary",
    "is_number",
]
