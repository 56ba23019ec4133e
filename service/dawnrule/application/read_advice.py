"""Stored advice, told in the reader's language."""

from __future__ import annotations

import json
from typing import Any

from dawnrule.advice.composer import Composer
from dawnrule.advice.translation import translate
from dawnrule.errors import NotFound
from dawnrule.i18n.catalog import ENGLISH
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.store import StoredAdvice


def read_advice(
    stored: StoredAdvice, library: RuleSetLibrary, composer: Composer
) -> dict[str, Any]:
    """Stored advice in the composer's language, as plain JSON values; as it was recorded where
    that is English or the rule set is gone."""
    record: dict[str, Any] = json.loads(stored.record)
    advice: dict[str, Any] = record["advice"]
    if composer.texts.language == ENGLISH:
        return advice
    try:
        rule_set = library.by_digest(stored.rule_set_digest)
    except NotFound:
        return advice
    return translate(record, rule_set, composer)
