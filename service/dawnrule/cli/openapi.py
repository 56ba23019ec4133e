"""``dawnrule openapi``: the description of the HTTP interface."""

from __future__ import annotations

import click

from dawnrule.web.app import openapi_yaml


@click.command()
def openapi() -> None:
    """Print the description of the HTTP interface (OpenAPI 3.1, YAML).

    \b
    Example:
      dawnrule openapi > openapi.yaml
    """
    click.echo(openapi_yaml(), nl=False)
