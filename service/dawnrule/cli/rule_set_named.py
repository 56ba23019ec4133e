"""Which rule set does a person mean who writes FILE or NAME@VERSION?"""

from __future__ import annotations

from pathlib import Path

import click

from dawnrule.rules.library import RuleSetLibrary
from dawnrule.rules.loading import load_rule_set
from dawnrule.rules.rule_set import RuleSet
from dawnrule.settings import name_and_version


def rule_set_named(named: str) -> RuleSet:
    """The rule set in a file, or one that ships with the service. Raises ``RuleSetInvalid``,
    ``NotFound`` and click's ``BadParameter``."""
    file = Path(named)
    if file.is_file():
        return load_rule_set(file, shown_as=named)
    if not all(name_and_version(named)):
        raise click.BadParameter(f"{named!r} is neither a file nor a name@version.")
    return RuleSetLibrary.shipped().get(*name_and_version(named))
