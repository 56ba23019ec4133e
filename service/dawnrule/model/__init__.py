"""The words and facts that check-ins, plans and rules share, read from ``rules/``."""

from dawnrule.i18n.catalog import Texts
from dawnrule.model.fact_dictionary import FactDefinition, FactDictionary, Facts, FactValue, Scope
from dawnrule.model.vocabulary import Modality, Pattern, Verdict, Vocabulary

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
