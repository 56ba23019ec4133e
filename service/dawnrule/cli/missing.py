"""A command that tells at once of all that it was not given."""

from __future__ import annotations

import click


class NamesAllMissing(click.Command):
    """A command that names everything that is missing, where click stops at the first."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Read what was typed. Raises click's ``UsageError``."""
        typed = list(args)
        try:
            return super().parse_args(ctx, args)
        except click.MissingParameter as error:
            given, _, _ = self.make_parser(ctx).parse_args(typed)
            missing = [
                parameter.get_error_hint(ctx)
                for parameter in self.get_params(ctx)
                if parameter.required
                and parameter.value_is_missing(parameter.consume_value(ctx, given)[0])
            ]
            raise click.UsageError(f"Missing: {', '.join(missing)}.", ctx) from error
