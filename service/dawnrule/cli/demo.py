"""``dawnrule demo``: a real morning of an invented squad, with nothing to set up."""

from __future__ import annotations

import time
from contextlib import suppress

import click

from dawnrule.advice.composer import Composer
from dawnrule.cli.interruption import sigterm_as_ctrl_c
from dawnrule.cli.options import DEFAULTS
from dawnrule.cli.tables import AdviceLine, advice_table
from dawnrule.clock import now
from dawnrule.demo.stage import Stage, set_stage
from dawnrule.demo.weeks import next_monday, take_weeks_in_the_background
from dawnrule.settings import Settings

_STEP_SECONDS = 0.5


@click.command()
@click.option("--once", is_flag=True, help="Exit after the table instead of serving.")
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=0,
    show_default=True,
    help="The port to serve on, for this machine only; 0 takes a free one.",
)
def demo(once: bool, port: int) -> None:
    """Show a real morning with an invented squad, and keep serving it.

    A squad with a history of four weeks is put into a temporary database, this morning's check-ins
    are posted to a real server, and the advice is printed. The server then runs until it is stopped
    (Ctrl-C), with keys to try more. Everything is deleted afterwards.

    \b
    Example:
      dawnrule demo
    """
    settings = Settings(host=DEFAULTS.host, port=port)
    with suppress(KeyboardInterrupt), sigterm_as_ctrl_c(), set_stage(settings) as stage:
        composer = Composer.bundled()
        lines = [AdviceLine.of(one, composer) for one in stage.advice]
        click.echo(advice_table(lines, stage.names, composer.texts))
        if not once:
            click.echo(_more_to_try(stage))
            take_weeks_in_the_background(stage.url, stage.coach_key)
            _wait_forever()


def _wait_forever() -> None:
    """Wait in short steps, as a signal that reaches another thread takes effect at the next one."""
    while True:
        time.sleep(_STEP_SECONDS)


def _more_to_try(stage: Stage) -> str:
    coach, athlete = (
        f"-H 'Authorization: Bearer {k}'" for k in (stage.coach_key, stage.athlete_key)
    )
    one, monday = stage.advice[0], next_monday(now().date())
    me = f"{stage.url}/v1/athletes/{stage.athlete_id}"
    return f"""
Serving {stage.url} until stopped (Ctrl-C). In a browser:
  {stage.url}/coach/  the coach's pages; sign in with the coach key
  {stage.url}/docs    the interface
Next week, laid out within the rules and taken as plan a few seconds from now:
  {stage.url}/coach/plan?who=group:early-lifters&week={monday}  a group with one rack
  {stage.url}/coach/plan?who=athlete:a-03&week={monday}         one athlete

Coach key:   {stage.coach_key}
Athlete key: {stage.athlete_key} ({stage.names[stage.athlete_id]}, {stage.athlete_id})

The squad's advice, why one of them got theirs, and what a phone would speak:
  curl {coach} '{stage.url}/v1/advice?date={one.date}'
  curl {coach} {stage.url}/v1/advice/{one.advice_id}
  curl {athlete} {me}/advice/today.txt
"""
