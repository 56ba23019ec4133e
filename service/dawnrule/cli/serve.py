"""``dawnrule serve`` and ``dawnrule openapi``: the service over HTTP, and its description."""

from __future__ import annotations

import errno
from dataclasses import replace
from pathlib import Path

import click

from dawnrule.advice.advisor import Advisor
from dawnrule.application.heads import heads_kept
from dawnrule.application.retention import retention_kept
from dawnrule.cli.options import DEFAULTS, SettingOption, db_option, rule_set_option
from dawnrule.clock import new_id, now
from dawnrule.errors import InvalidInput
from dawnrule.rules.registry import check_bundled_rule_sets
from dawnrule.settings import Settings
from dawnrule.store import Store
from dawnrule.web import create_app, start_logging
from dawnrule.web import serve as serve_app
from dawnrule.web.app import openapi_yaml


@click.command()
def openapi() -> None:
    """Print the description of the HTTP interface (OpenAPI 3.1, YAML).

    \b
    Example:
      dawnrule openapi > openapi.yaml
    """
    click.echo(openapi_yaml(), nl=False)


_LAST_PORT = 65535


@click.command()
@db_option
@click.option(
    "--host",
    cls=SettingOption,
    envvar="DAWNRULE_HOST",
    default=DEFAULTS.host,
    show_default=True,
    help="The address to listen on; by default only this machine can reach the service.",
)
@click.option(
    "--port",
    cls=SettingOption,
    envvar="DAWNRULE_PORT",
    type=click.IntRange(0, _LAST_PORT),
    default=DEFAULTS.port,
    show_default=True,
    help="The port to listen on; 0 takes a free one.",
)
@click.option(
    "--threads",
    cls=SettingOption,
    envvar="DAWNRULE_THREADS",
    type=click.IntRange(min=1),
    default=DEFAULTS.threads,
    show_default=True,
    help="The number of requests handled at once.",
)
@rule_set_option
def serve(db: Path, host: str, port: int, threads: int, rule_set: str) -> None:
    """Serve the API and its documentation until stopped (Ctrl-C).

    The database is created if it does not exist. Every request needs a key: see dawnrule keys.

    \b
    Example:
      dawnrule serve --db squad.db
    """
    settings = replace(
        _from_environment(), db=db, host=host, port=port, threads=threads, rule_set=rule_set
    )
    if settings.backup_folder is not None and not settings.backup_folder.is_dir():
        raise click.UsageError(f"DAWNRULE_BACKUP_FOLDER: {settings.backup_folder} is not a folder.")
    with (
        Store.open(db) as store,
        retention_kept(store, settings.retention_days, now),
        heads_kept(store, settings.heads_file, now),
    ):
        check_bundled_rule_sets()  # a broken one is refused now, not when it is first needed
        app = create_app(settings, store, Advisor.bundled(), now, new_id)
        start_logging(settings.log, db)
        try:
            serve_app(app, settings, _announce)
        except OSError as error:
            message = f"{host}:{port} cannot be served: {error.strerror}.{_other_port(error, port)}"
            raise click.UsageError(message) from error


def _other_port(error: OSError, port: int) -> str:
    """Suggest another port when this one is taken."""
    if error.errno != errno.EADDRINUSE:
        return ""
    return f" Try --port {port + 1 if port < _LAST_PORT else port - 1}."


def _from_environment() -> Settings:
    """Read the settings. Raises click's ``UsageError`` for a variable with an invalid value."""
    try:
        return Settings.from_environment()
    except InvalidInput as error:
        raise click.UsageError(error.detail) from error


def _announce(host: str, port: int) -> None:
    click.echo(f"Serving http://{host}:{port} (documentation: /docs). Stop with Ctrl-C.", err=True)
