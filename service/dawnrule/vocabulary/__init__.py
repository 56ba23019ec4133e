"""The words and facts that check-ins, plans and rules share, read from ``rules/``."""

from dawnrule.vocabulary.dictionary import FactDefinition, FactDictionary, Facts, FactValue, Scope
from dawnrule.vocabulary.texts import Texts
from dawnrule.vocabulary.words import Modality, Pattern, Verdict, Vocabulary

__all__ = [
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
]
