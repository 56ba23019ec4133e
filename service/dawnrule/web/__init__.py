"""The service over HTTP: requests become calls, and what comes of them becomes responses.

- ``app``: the application, put together. ``server``: the application, served.
- ``access``: who may call what. ``service``: what the views work with.
- one module for each resource: ``athletes``, ``check_ins``, ``sessions``, ``batch`` (with
  ``batch_rows`` and ``sheets``), ``advice``, ``outlook``, ``evaluations``, ``rule_sets``,
  ``publishing``, ``replays``, ``operations``; ``pages`` for people.
- ``incoming``, ``answers``, ``problems`` and ``problem_types``: bodies in, bodies out, errors.
- ``openapi``: the description of all this, which falls out of the schemas.
"""

from dawnrule.web.app import create_app, openapi_yaml
from dawnrule.web.server import Server, serve

__all__ = ["Server", "create_app", "openapi_yaml", "serve"]
