"""Words that coaches do not say stand in no sentence that people read: one name for one thing."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

import dawnrule
from dawnrule.cli.main import main
from dawnrule.i18n.catalog import Texts
from dawnrule.i18n.resources import openapi_file

NOT_SAID = {
    "en": r"fired|firing|ledger|digests?|block [1-9{]|monotony|left open|activated it|to heed|"
    r"hold back|told|opens (?:at|later)|does not open|open now|low-damage work today",
    "de": r"Block [1-9{]|Monotonie|offen gelassen|öffnet (?:um|wieder)|jetzt offen|eingesetzt",
}
"""Instead: applied, logbook, fingerprint, number 1 on the plan, much alike, not answered, ready
again, said."""

TEMPLATES = sorted((Path(dawnrule.__file__).parent / "web" / "templates").rglob("*.html"))
TAGS = re.compile(r"{[{%#].*?[}%#]}|<[^>]*>", re.DOTALL)


@pytest.mark.parametrize("language", NOT_SAID)
def test_no_sentence_of_a_catalogue_has_one(language: str) -> None:
    said = Texts.bundled(language).entries.items()
    unsaid = re.compile(rf"\b(?:{NOT_SAID[language]})\b", re.IGNORECASE)
    assert {name: text for name, text in said if unsaid.search(without_fields(text))} == {}


def test_no_template_and_no_help_has_one() -> None:
    unsaid = re.compile(rf"\b(?:{NOT_SAID['en']})\b", re.IGNORECASE)
    pages = [TAGS.sub(" ", page.read_text(encoding="utf-8")) for page in TEMPLATES]
    found = [match[0] for text in (*pages, *helps(main)) for match in unsaid.finditer(text)]
    assert found == []


def test_no_description_of_the_interface_has_one() -> None:
    lines = openapi_file().read_text(encoding="utf-8").splitlines()
    described = [line for line in lines if re.match(r"\s+(?:description|summary): ", line)]
    unsaid = re.compile(r"\b(?:fired|ledger|left open|told)\b", re.IGNORECASE)
    assert [line for line in described if unsaid.search(without_fields(line))] == []


def without_fields(text: str) -> str:
    """Leave out names of fields, which stay: ``record_digest``, `opens_at`."""
    return re.sub(r"`[^`]*`|\b\w+_\w+\b|\b\w+:\w+\b", "", text)


def helps(command: click.Command) -> Iterator[str]:
    """The help of a command and of all below it."""
    yield command.help or ""
    yield from (getattr(param, "help", None) or "" for param in command.params)
    if isinstance(command, click.Group):
        context = click.Context(command)
        for name in command.list_commands(context):
            below = command.get_command(context, name)
            assert below
            yield from helps(below)
