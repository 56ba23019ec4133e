"""Options that several commands share, rule sets by name, and progress bars."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Mapping
from contextlib import ExitStack
from datetime import date, datetime
from difflib import get_close_matches
from functools import partial, wraps
from pathlib import Path
from typing import Any, TypeAlias, TypeVar, cast

import click

from dawnrule.application.active_rules import StoredTexts
from dawnrule.errors import InvalidInput, NotFound
from dawnrule.rules.loading.loader import load_rule_set
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.rules.rule_set import RuleSet
from dawnrule.settings import Settings, name_and_version, refuse_unknown
from dawnrule.store import Store


def rule_set_named(named: str, store: Store | None = None) -> RuleSet:
    """Load a rule set from a file, or get a bundled or published one by name@version. Raises
    ``RuleSetInvalid``, ``NotFound`` and click's ``BadParameter``."""
    find = partial(_found, library_of(store), is_whole=store is not None)
    file = Path(named)
    if file.is_file():
        return load_rule_set(file, shown_as=named, resolve=find)
    if not all(name_and_version(named)):
        raise click.BadParameter(f"{named!r} is neither a file nor a name@version.")
    return find(*name_and_version(named))


def library_of(store: Store | None) -> RuleSetLibrary:
    """Return the bundled rule sets, with those that were published in a database, if there is
    one."""
    library = RuleSetLibrary.bundled()
    return library if store is None else library.with_published(StoredTexts(store))


def _found(library: RuleSetLibrary, name: str, version: str, *, is_whole: bool) -> RuleSet:
    """Get a rule set. Raises ``NotFound``, which says how to find more unless ``is_whole``."""
    try:
        return library.get(name, version)
    except NotFound as error:
        if is_whole:
            raise
        more = "One that was published in a database is found with --db."
        raise NotFound(f"{error.detail} {more}") from error


_SOME_MEANINGS = "Meanings are the columns of a squad sheet, such as fatigue, and ignore."


def count_of(number: int, thing: str) -> str:
    """Write a count with its noun: ``1 rule``, ``2 rules``; for nouns whose plural takes an s."""
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


def never_applied(rules: Iterable[str], *, names_all: bool) -> str:
    """Count or name the rules that a table leaves out; nothing where there are none."""
    left_out = list(rules)
    if not left_out:
        return ""
    told = (
        ", ".join(left_out) if names_all else f"{count_of(len(left_out), 'rule')} (named by --all)"
    )
    return f"Never applied: {told}"


def dates_asked(first: date | None, last: date | None) -> str:
    """Write the dates that were asked for; None is an open end."""
    if first and last:
        return f"on {first}" if first == last else f"from {first} to {last}"
    return f"from {first} on" if first else f"up to {last}" if last else "on any date"


def _meaning(
    ctx: click.Context, parameter: click.Parameter, values: tuple[str, ...]
) -> tuple[tuple[str, str], ...]:
    """Split HEADER=MEANING, and refuse a meaning that there is not."""
    from dawnrule.sheet import CHECK_INS, SESSIONS, all_meanings
    from dawnrule.sheet.words import plain_word

    known = {*all_meanings(CHECK_INS), *all_meanings(SESSIONS)}
    pairs = []
    for value in values:
        header, _, meaning = value.rpartition("=")
        if not header:
            raise click.BadParameter(f"{value!r} is not HEADER=MEANING, like Seat=ignore.")
        if meaning.strip() not in known:
            near = get_close_matches(meaning.strip(), known, n=3)
            hint = f"Did you mean {' or '.join(near)}?" if near else _SOME_MEANINGS
            raise click.BadParameter(f"{meaning.strip()!r} is no meaning of a column. {hint}")
        pairs.append((plain_word(header), meaning.strip()))
    return tuple(pairs)


def accept_option(command: Command) -> Command:
    """Add ``--accept``."""
    return click.option(
        "--accept",
        is_flag=True,
        help="Take the proposed meaning of each column without asking. A column that may tell of "
        "health and has no proposal is asked about still.",
    )(command)


def means_option(command: Command) -> Command:
    """Add ``--means``."""
    return click.option(
        "--means",
        multiple=True,
        callback=_meaning,
        metavar="HEADER=MEANING",
        help="What a column means, like 'Legs=soreness_legs' or 'Seat=ignore'. Can be repeated.",
    )(command)


ShowProgress: TypeAlias = Callable[[int, int], None]
Command = TypeVar("Command", bound=Callable[..., Any])

DEFAULTS = Settings()


class SettingOption(click.Option):
    """An option that an environment variable can give: none may be set whose name is not known, or
    one with a typing error in its name would silently count for nothing."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **{"show_envvar": True, **kwargs})

    def handle_parse_result(
        self, ctx: click.Context, opts: Mapping[str, Any], args: list[str]
    ) -> tuple[Any, list[str]]:
        """Take the option's value. Raises click's ``UsageError`` for an unknown variable."""
        try:
            refuse_unknown()
        except InvalidInput as error:
            raise click.UsageError(error.detail, ctx) from error
        return super().handle_parse_result(ctx, opts, args)


def _as_date(ctx: click.Context, parameter: click.Parameter, value: str | None) -> date | None:
    try:
        return datetime.strptime(value, "%Y-%m-%d").date() if value is not None else None
    except ValueError as error:
        raise click.BadParameter(f"{value!r} is no date like 2026-03-09.") from error


def date_option(name: str, into: str, help_text: str) -> Callable[[Command], Command]:
    """Make an option that takes a date; its value is None when it is left out."""
    return click.option(name, into, callback=_as_date, metavar="DATE", help=help_text)


def dates_options(command: Command) -> Command:
    """Add ``--from`` and ``--to``, as ``first`` and ``last``; None when left out."""
    to = date_option("--to", "last", "The last date to include; the newest by default.")
    start = date_option("--from", "first", "The first date to include; the oldest by default.")

    @wraps(command)
    def in_order(*args: Any, first: date | None, last: date | None, **options: Any) -> Any:
        if first and last and last < first:
            raise click.UsageError(f"--to {last} is before --from {first}.")
        return command(*args, first=first, last=last, **options)

    return cast("Command", start(to(in_order)))


def bar(label: str, stack: ExitStack) -> ShowProgress:
    """Return a function that reports progress as a bar on standard error, which appears at the
    first call and lasts until ``stack`` closes."""
    bars: list[Any] = []

    def show(done: int, of: int) -> None:
        if not bars:
            bars.append(
                stack.enter_context(click.progressbar(length=of, label=label, file=sys.stderr))
            )
        bars[0].update(done - bars[0].pos)

    return show


def _with_version(ctx: click.Context, parameter: click.Parameter, value: str) -> str:
    if not all(name_and_version(value)):
        raise click.BadParameter(f"write it as name@version, like {DEFAULTS.rule_set}.")
    return value


_one_rule_set = partial(
    click.option,
    cls=SettingOption,
    envvar="DAWNRULE_RULE_SET",
    default=DEFAULTS.rule_set,
    show_default=True,
    callback=_with_version,
    metavar="NAME@VERSION",
)

rule_set_option = _one_rule_set(
    "--rule-set", help="The rule set that decides; dawnrule rules list shows all."
)

default_rule_set_option = _one_rule_set(
    "--otherwise",
    "default_rule_set",
    help="The rule set that decides where none was activated: the server's --rule-set.",
)

db_option = click.option(
    "--db",
    cls=SettingOption,
    envvar="DAWNRULE_DB",
    required=True,
    type=click.Path(dir_okay=False, path_type=Path),
    help="The database file.",
)


optional_db_option = click.option(
    "--db",
    cls=SettingOption,
    envvar="DAWNRULE_DB",
    type=click.Path(dir_okay=False, path_type=Path),
    help="The database file.",
)


def published_in_option(help_text: str) -> Callable[[Command], Command]:
    """Build ``--db``, as ``db``, for a command that reads rule sets, published ones too; None where
    it is left out."""
    return click.option(
        "--db",
        cls=SettingOption,
        envvar="DAWNRULE_DB",
        type=click.Path(exists=True, dir_okay=False, path_type=Path),
        help=help_text,
    )


def archives_option(command: Command) -> Command:
    """Add ``--archive``, as ``archives``: paths or addresses, none by default."""
    return click.option(
        "--archive",
        "archives",
        multiple=True,
        metavar="PATH",
        help="An archive that was exported, or a folder of several. Can be repeated.",
    )(command)


names_all_option = click.option(
    "--all", "names_all", is_flag=True, help="Also name the rules that never applied."
)


def format_option(*forms: str, help_text: str) -> Callable[[Command], Command]:
    """Make ``--format``, as ``form``: one of several, the first by default."""
    return click.option(
        "--format",
        "form",
        type=click.Choice(forms),
        default=forms[0],
        show_default=True,
        help=help_text,
    )
