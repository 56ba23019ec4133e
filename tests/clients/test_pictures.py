"""Pictures in the clients' READMEs, as the script makes them."""

from __future__ import annotations

import re
import struct
import subprocess
import sys
from pathlib import Path

import pytest
from clients_demo.make_pictures import PICTURES

from tests.clients.conftest import CLIENTS

PATIENCE_SECONDS = 300
LARGEST_BYTES = 200_000
LARGEST_OF_ALL_BYTES = 2_000_000
PNG = b"\x89PNG\r\n\x1a\n"

READMES = sorted(CLIENTS.glob("*/README.md"))
IMAGE = re.compile(r"!\[([^]]*)\]\(([^)]+)\)")

MADE = {
    (CLIENTS / client / "pictures" / file).resolve()
    for client, files in PICTURES.items()
    for file in files
}


def shown(readme: Path) -> dict[Path, str]:
    """Return the pictures that a README shows, with their alternative texts."""
    found = IMAGE.findall(readme.read_text(encoding="utf-8"))
    return {(readme.parent / path).resolve(): words for words, path in found}


def test_every_client_has_a_readme_with_pictures() -> None:
    assert {readme.parent.name for readme in READMES} == {"audit", "coach", "phone", "spreadsheet"}
    assert all(shown(readme) for readme in READMES)


def test_each_picture_is_shown_is_there_and_is_one_that_the_script_makes() -> None:
    there = {file.resolve() for file in CLIENTS.glob("*/pictures/*")}
    everywhere = {picture for readme in READMES for picture in shown(readme)}
    assert everywhere == there == MADE


@pytest.mark.parametrize("picture", sorted(MADE), ids=lambda picture: picture.name)
def test_a_picture_is_a_small_png(picture: Path) -> None:
    content = picture.read_bytes()
    assert content.startswith(PNG)
    width, height = struct.unpack(">2I", content[16:24])  # as every PNG file begins
    assert min(width, height) > 0
    assert len(content) < LARGEST_BYTES


def test_all_pictures_together_are_small() -> None:
    assert sum(picture.stat().st_size for picture in MADE) < LARGEST_OF_ALL_BYTES


@pytest.mark.parametrize("readme", READMES, ids=lambda readme: readme.parent.name)
def test_who_does_not_see_a_picture_is_told_what_is_on_it(readme: Path) -> None:
    for picture, words in shown(readme).items():
        assert len(words.split()) > len(picture.stem.split("-")), picture


@pytest.mark.parametrize(
    ("readme", "opening", "source"),
    [("phone", "```ics\n", "outlook.ics"), ("audit", "```\n", "why.txt")],
)
def test_what_is_quoted_stands_in_what_was_given(readme: str, opening: str, source: str) -> None:
    text = (CLIENTS / readme / "README.md").read_text(encoding="utf-8")
    quoted = text.partition(opening)[2].partition("```")[0]
    given = (CLIENTS / readme / source).read_text(encoding="utf-8")
    assert quoted.strip()
    assert quoted in given


def test_the_script_makes_its_pictures_and_the_calendar_as_they_are_kept(tmp_path: Path) -> None:
    """In a process of its own: one process drives one browser at a time."""
    command = [sys.executable, str(CLIENTS / "make_pictures.py"), "phone", "--to", str(tmp_path)]
    subprocess.run(command, check=True, timeout=PATIENCE_SECONDS)
    folder = tmp_path / "phone" / "pictures"
    assert sorted(file.name for file in folder.iterdir()) == sorted(PICTURES["phone"])
    made = (tmp_path / "phone" / "outlook.ics").read_bytes()
    assert made == (CLIENTS / "phone" / "outlook.ics").read_bytes()
