"""Which stored mornings does a command look at, and how far has it come?"""

from __future__ import annotations

import sys
from collections.abc import Callable
from contextlib import ExitStack
from datetime import date, datetime
from typing import Any, TypeAlias, TypeVar

import click

Show: TypeAlias = Callable[[int, int], None]
Command = TypeVar("Command", bound=Callable[..., Any])


def _as_date(ctx: click.Context, parameter: click.Parameter, value: datetime | None) -> date | None:
    return value.date() if value else None


def date_option(name: str, into: str, says: str) -> Callable[[Command], Command]:
    """An option that takes a date; None when it is left out."""
    return click.option(
        name,
        into,
        type=click.DateTime(["%Y-%m-%d"]),
        callback=_as_date,
        metavar="DATE",
        help=says,
    )


def dates_options(command: Command) -> Command:
    """The options ``--from`` and ``--to``, as ``first`` and ``last``; None when left out."""
    to = date_option("--to", "last", "The last date that counts; the newest when left out.")
    start = date_option("--from", "first", "The first date that counts; the oldest when left out.")
    return start(to(command))


def bar(label: str, shown: ExitStack) -> Show:
    """What to tell how much of how much is done: a bar on standard error, from the first time on
    until ``shown`` ends."""
    bars: list[Any] = []

    def show(done: int, of: int) -> None:
        if not bars:
            bars.append(
                shown.enter_context(click.progressbar(length=of, label=label, file=sys.stderr))
            )
        bars[0].update(done - bars[0].pos)

    return show
