"""A small database to do harm to: made once, copied for each test."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.databases.make import make


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("made") / "squad.db"
    make(file)
    assert [*file.parent.iterdir()] == [file], "a log beside it would have to be copied too"
    return file


@pytest.fixture
def db(tmp_path: Path, made: Path) -> Path:
    """A small database with four advices, a session and a ledger, all in its one file."""
    return Path(shutil.copy(made, tmp_path / "squad.db"))
