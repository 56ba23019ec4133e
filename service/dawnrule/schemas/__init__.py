"""What may be sent, what comes back, and how is a wrong field named?

Each schema is written once and used both to let data in and to document the interface. This
package alone knows marshmallow.

- ``strict``: what an object, a list and a value are held to; ``values``: the kinds of values.
- ``facts``: values whose range stands in the fact dictionary.
- ``field_errors``: from marshmallow's messages to JSON Pointers.
- one module for each noun: ``athlete``, ``check_in``, ``session``, ``advice``, ``record``,
  ``batch``, ``outlook``, ``evaluation``, ``rule_set``, ``publishing``, ``replay``, ``health``,
  ``problem``, and ``query`` for what stands behind ``?``.
"""

from dawnrule.schemas.athlete import load_athlete
from dawnrule.schemas.check_in import load_check_in
from dawnrule.schemas.session import load_session

__all__ = ["load_athlete", "load_check_in", "load_session"]
