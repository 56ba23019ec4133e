"""``dawnrule concerns``: what is open about athletes, and how it is lifted."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import click
from tabulate import tabulate

from dawnrule.advice.advisor import Advisor
from dawnrule.application.active_rules import StoredTexts
from dawnrule.application.check_ins import CheckIns
from dawnrule.application.concerns import (
    Acting,
    ConcernChanged,
    advance_concern,
    clear_concern,
    concerns_of,
    confirm_correction,
    open_concern,
    open_concerns,
    require_concern,
    withdraw,
)
from dawnrule.cli.options import db_option, format_option, rule_set_option
from dawnrule.clock import new_id, now
from dawnrule.model.concerns import ActorRole, Concern
from dawnrule.schemas.concern import NEW_CLEARANCE, NEW_CONCERN, ConcernSchema
from dawnrule.schemas.errors import load
from dawnrule.settings import name_and_version
from dawnrule.store import Store, Transaction

_Change = Callable[[Transaction, CheckIns, Acting], ConcernChanged]

_concern_argument = click.argument("concern_id", metavar="ID")
_name_option = click.option("--name", help="Who says so, to be shown with it.")


def _said_by(_: click.Context, __: click.Parameter, name: str) -> str:
    if not name.strip():
        raise click.UsageError("Say who says so, with --name.")
    return name


_required_name_option = click.option(
    "--name", required=True, callback=_said_by, help="Who says so, to be shown with it."
)


def _restriction_options(command: Callable[..., None]) -> Callable[..., None]:
    """Add the options that say what an athlete may not do."""
    options = (
        click.option("--rests-everything", is_flag=True, help="No training at all."),
        click.option(
            "--muscle-group-rests",
            "muscle_groups_rest",
            multiple=True,
            metavar="WORD",
            help="A muscle group that rests; may be given several times.",
        ),
        click.option(
            "--goal-not",
            "goals_not",
            multiple=True,
            metavar="WORD",
            help="A goal that is not allowed; may be given several times.",
        ),
        click.option(
            "--modality-not",
            "modalities_not",
            multiple=True,
            metavar="WORD",
            help="A modality that is not allowed; may be given several times.",
        ),
        click.option("--effort-at-most", type=float, help="Session RPE, 0 to 10."),
        click.option("--minutes-at-most", type=float, help="Minutes of one block."),
        click.option("--no-contact", is_flag=True, help="No contact, no risk of a knock."),
        click.option("--no-maximal", is_flag=True, help="No maximal lifts."),
    )
    for option in reversed(options):
        command = option(command)
    return command


@click.group()
def concerns() -> None:
    """Concerns: what is open about athletes until somebody lifts it.

    \b
    Example:
      dawnrule concerns list --db squad.db
    """


@concerns.command("list")
@click.option("--athlete", "athlete_id", metavar="ID", help="All of one athlete, ended ones too.")
@format_option("text", "json", help_text="A table, or JSON with every event.")
@db_option
def list_(athlete_id: str | None, form: str, db: Path) -> None:
    """List what is open about the squad, or all that ever was about one athlete.

    \b
    Example:
      dawnrule concerns list --athlete a-03 --db squad.db
    """
    at = now()

    def read(transaction: Transaction) -> list[Concern]:
        if athlete_id is None:
            return open_concerns(transaction, at)
        return concerns_of(transaction, athlete_id, at)

    with Store.open(db, must_exist=True) as store:
        found = store.read(read)
    if form == "json":
        click.echo(json.dumps(ConcernSchema(many=True).dump(found), indent=2, ensure_ascii=False))
    else:
        headers = ("Id", "Athlete", "Kind", "State", "Since", "Last reported", "Lifted by")
        click.echo(tabulate(map(_row, found), headers=headers, disable_numparse=True))


@concerns.command("open")
@click.option("--athlete", "athlete_id", required=True, metavar="ID", help="Whose it is.")
@click.option("--kind", required=True, metavar="WORD", help="Such as pain or head-injury.")
@click.option("--sign", "signs", multiple=True, metavar="WORD", help="A warning sign.")
@click.option("--illness", metavar="WORD", help="With --kind illness: which.")
@click.option("--pain", metavar="WORD", help="With --kind pain: its kind, such as joint.")
@click.option("--where", help="Where it hurts, in words.")
@click.option(
    "--muscle-group", "muscle_groups", multiple=True, metavar="WORD", help="Which group hurts."
)
@click.option("--reason", metavar="WORD", help="With --kind restriction: such as surgery.")
@click.option("--until", metavar="DATE", help="The last date on which a restriction counts.")
@_restriction_options
@_name_option
@db_option
@rule_set_option
def open_(athlete_id: str, db: Path, rule_set: str, **given: Any) -> None:
    """Open a concern about an athlete; today's advice is decided again.

    \b
    Example:
      dawnrule concerns open --athlete a-03 --kind restriction --reason injury \\
        --muscle-group-rests hamstrings --until 2026-03-30 --db squad.db
    """
    body: dict[str, Any] = _given(given, "kind", "signs", "illness", "name")
    if given["pain"] is not None:
        body["pain"] = {"kind": given["pain"]} | _given(given, "where", "muscle_groups")
    if given["reason"] is not None:
        body["restriction"] = {
            "reason": given["reason"],
            "restrictions": _restrictions(given),
        } | _given(given, "until")
    opening, name = load(NEW_CONCERN, body)
    _change(
        db,
        rule_set,
        name,
        lambda transaction, check_ins, acting: open_concern(
            transaction, check_ins, athlete_id, opening, acting
        ),
    )


@concerns.command()
@_concern_argument
@click.option("--until", metavar="DATE", help="The last date on which the clearance counts.")
@click.option("--severity-at-most", type=float, help="Pain up to this may be trained with.")
@click.option(
    "--taken-on",
    is_flag=True,
    help="A clinician has cleared it, or you take it on; needed for a warning sign.",
)
@_restriction_options
@_required_name_option
@db_option
@rule_set_option
def clear(concern_id: str, taken_on: bool, db: Path, rule_set: str, **given: Any) -> None:
    """Clear a concern: its staged return begins, or it ends where there is none.

    \b
    Example:
      dawnrule concerns clear 1f0a6c2e --name "Dr. Adler" --taken-on --no-contact --db squad.db
    """
    body = _given(given, "until", "severity_at_most", "name")
    terms, name = load(NEW_CLEARANCE, body | {"restrictions": _restrictions(given)})

    def change(transaction: Transaction, check_ins: CheckIns, acting: Acting) -> ConcernChanged:
        if not taken_on and require_concern(transaction, concern_id).kind.is_warning_sign:
            raise click.UsageError(
                "This is a warning sign. Say with --taken-on that a clinician has cleared it or "
                "that you take it on."
            )
        return clear_concern(transaction, check_ins, concern_id, terms, acting)

    _change(db, rule_set, name, change)


@concerns.command("withdraw")
@_concern_argument
@click.argument("clearance_id", metavar="CLEARANCE")
@_name_option
@db_option
@rule_set_option
def withdraw_(
    concern_id: str, clearance_id: str, name: str | None, db: Path, rule_set: str
) -> None:
    """Withdraw a clearance: the concern is open again. Nothing is deleted.

    \b
    Example:
      dawnrule concerns withdraw 1f0a6c2e 9b1f6e0c --db squad.db
    """
    _change(
        db,
        rule_set,
        name,
        lambda transaction, check_ins, acting: withdraw(
            transaction, check_ins, concern_id, clearance_id, acting
        ),
    )


@concerns.command()
@_concern_argument
@_required_name_option
@db_option
@rule_set_option
def confirm(concern_id: str, name: str, db: Path, rule_set: str) -> None:
    """Confirm that a report withdrawn on its own date was a typing error.

    \b
    Example:
      dawnrule concerns confirm 1f0a6c2e --name "M. Ortega" --db squad.db
    """
    _change(
        db,
        rule_set,
        name,
        lambda transaction, check_ins, acting: confirm_correction(
            transaction, check_ins, concern_id, acting
        ),
    )


@concerns.command()
@_concern_argument
@click.option("--back", is_flag=True, help="One stage back; before the first, open again.")
@_name_option
@db_option
@rule_set_option
def advance(concern_id: str, back: bool, name: str | None, db: Path, rule_set: str) -> None:
    """Pass to the next stage of a staged return, or one back.

    \b
    Example:
      dawnrule concerns advance 1f0a6c2e --db squad.db
    """
    _change(
        db,
        rule_set,
        name,
        lambda transaction, check_ins, acting: advance_concern(
            transaction, check_ins, concern_id, acting, back=back
        ),
    )


def _change(db: Path, rule_set: str, name: str | None, change: _Change) -> None:
    """Change a concern as a coach at the command line, and print how it is then."""
    with Store.open(db, must_exist=True) as store:
        advisor = Advisor.bundled()
        library = advisor.library.with_published(StoredTexts(store))
        deciding = library.get(*name_and_version(rule_set))
        check_ins = CheckIns(replace(advisor, library=library), deciding, now, new_id)
        acting = Acting(ActorRole.COACH, check_ins.submission(None), name)
        changed = store.write(lambda transaction: change(transaction, check_ins, acting))
    concern = changed.concern
    click.echo(concern.id)
    stage = f", stage {concern.stage} of {concern.staged_return}" if concern.stage else ""
    click.echo(f"{concern.kind} of {concern.athlete_id}: {concern.state}{stage}.", err=True)
    if concern.clearance is not None:
        click.echo(f"The clearance in force: {concern.clearance.id}", err=True)


def _given(options: Mapping[str, Any], *names: str) -> dict[str, Any]:
    """Keep the options that were given, as JSON values."""
    values = {name: options[name] for name in names if options[name] not in (None, (), False)}
    return {name: list(v) if isinstance(v, tuple) else v for name, v in values.items()}


def _restrictions(options: Mapping[str, Any]) -> dict[str, Any]:
    return _given(
        options,
        "rests_everything",
        "muscle_groups_rest",
        "goals_not",
        "modalities_not",
        "effort_at_most",
        "minutes_at_most",
        "no_contact",
        "no_maximal",
    )


def _row(concern: Concern) -> tuple[str, ...]:
    state = concern.state if concern.stage is None else f"{concern.state}, stage {concern.stage}"
    if concern.correction_on is not None:
        state += f", correction of {concern.correction_on} not confirmed"
    return (
        concern.id,
        concern.athlete_id,
        concern.kind,
        state,
        concern.began_on.isoformat(),
        concern.last_reported_on.isoformat(),
        concern.lifted_by,
    )
