"""The service over HTTP.

- ``app``: the application, with its parts wired together; ``server``: waitress; ``context``: what
  all views share.
- ``http``: requests, responses, errors, authorization, login, languages, rate limits.
- ``api``: the interface for programs, one module per resource; ``openapi``: its description.
- ``private``: pages and feeds at private addresses, where a token takes the place of a key.
- ``coach``: pages for coaches; ``pages``: the home page and the documentation.
- ``observability``: logs and metrics; ``backup_schedule``: back-ups while serving.
"""

from dawnrule.web.app import create_app, openapi_yaml
from dawnrule.web.observability import start_logging
from dawnrule.web.server import Server, serve

__all__ = ["Server", "create_app", "openapi_yaml", "serve", "start_logging"]
