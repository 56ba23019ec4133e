"""Schemas of everything that is sent to the service and that it answers.

Each schema is written once, and both validates data and documents the interface. No other package
imports marshmallow.

- ``base``: strict objects, lists and values; ``fields``: the field types, facts among them.
- ``errors``: validation errors as JSON Pointers; ``json``: strict JSON parsing.
- one module for each noun: ``athlete``, ``check_in``, ``session``, ``advice``, ``record``,
  ``batch``, ``rule_set``, ``replay``, ``ledger``, ``private_address``; ``query`` for query
  parameters.
"""

from dawnrule.schemas.athlete import load_athlete
from dawnrule.schemas.check_in import load_check_in
from dawnrule.schemas.session import load_session

__all__ = ["load_athlete", "load_check_in", "load_session"]
