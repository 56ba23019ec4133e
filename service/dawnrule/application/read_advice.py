"""Stored advice in the reader's language."""

from __future__ import annotations

from dawnrule.advice.composer import Composer
from dawnrule.advice.translation import in_todays_words, translate
from dawnrule.errors import NotFound
from dawnrule.i18n.catalog import ENGLISH
from dawnrule.model.advice import Advice
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.store import StoredAdvice


def read_advice(stored: StoredAdvice, library: RuleSetLibrary, composer: Composer) -> Advice:
    """Read advice in the composer's language; as recorded where the rule set is gone."""
    record = stored.read_record()
    if composer.texts.language == ENGLISH:
        return in_todays_words(record.advice, composer.texts)
    try:
        rule_set = library.by_digest(stored.rule_set_digest)
    except NotFound:
        return record.advice
    return translate(record, rule_set, composer)
