"""The script that makes a new database, as the migrations make one.

    python -m tests.databases.newest

writes it. Run it whenever there is another migration.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing

from dawnrule.store.migrations import apply
from dawnrule.store.new_database import SCRIPT, script_of

_HEAD = "-- Written by python -m tests.databases.newest, from the migrations.\n"


def script() -> str:
    with closing(sqlite3.connect(":memory:")) as connection:
        apply(connection)
        return _HEAD + script_of(connection)


if __name__ == "__main__":
    SCRIPT.write_text(script(), encoding="utf-8")
