"""The service over HTTP: requests become calls, and what comes of them becomes responses.

- ``app``: the application, put together. ``server``: the application, served.
- ``access``: who may call what. ``service``: what the views work with.
- one module for each resource: ``athletes``, ``check_ins``, ``sessions``, ``batch`` (with
  ``batch_rows`` and ``sheets``), ``advice``, ``outlook``, ``plans``, ``addresses``,
  ``evaluations``, ``rule_sets``, ``publishing``, ``replays``, ``operations``; ``pages`` for people.
- ``phone``: what private addresses give, without a key.
- ``incoming``, ``answers``, ``problems`` and ``problem_types``: bodies in, bodies out, errors.
- ``limits`` (with ``limit_counts``), ``logs``, ``metrics``, ``backups``: how often one may ask,
  what is written down and counted, and what goes on beside the requests.
- ``openapi``: the description of all this, which falls out of the schemas.
"""

from dawnrule.web.app import create_app, openapi_yaml
from dawnrule.web.observability import start_logging
from dawnrule.web.server import Server, serve

__all__ = ["Server", "create_app", "openapi_yaml", "serve", "start_logging"]
