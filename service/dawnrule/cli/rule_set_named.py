"""Which rule set does a person mean who writes FILE or NAME@VERSION?"""

from __future__ import annotations

from pathlib import Path

import click

from dawnrule.advice.in_force import StoredTexts
from dawnrule.rules.library import RuleSetLibrary
from dawnrule.rules.loading import load_rule_set
from dawnrule.rules.rule_set import RuleSet
from dawnrule.settings import name_and_version
from dawnrule.store import Store


def rule_set_named(named: str, store: Store | None = None) -> RuleSet:
    """The rule set in a file, one that ships with the service, or one that was published in a
    store. Raises ``RuleSetInvalid``, ``NotFound`` and click's ``BadParameter``."""
    library = RuleSetLibrary.shipped()
    if store is not None:
        library = library.with_published(StoredTexts(store))
    file = Path(named)
    if file.is_file():
        return load_rule_set(file, shown_as=named, resolve=library.get)
    if not all(name_and_version(named)):
        raise click.BadParameter(f"{named!r} is neither a file nor a name@version.")
    return library.get(*name_and_version(named))
