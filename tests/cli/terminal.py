"""A terminal to type commands at."""

from __future__ import annotations

from click.testing import CliRunner, Result

from dawnrule.cli import main


def typed(*words: object, given: bytes | None = None, **environment: str) -> Result:
    """Run a command; errors that it does not foresee are raised."""
    runner = CliRunner(env={"DAWNRULE_DB": None, "DAWNRULE_RULE_SET": None, **environment})
    return runner.invoke(main, [str(word) for word in words], input=given, catch_exceptions=False)
