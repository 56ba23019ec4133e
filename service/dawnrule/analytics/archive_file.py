"""The file of the archive: where it is and how it goes, without reading it.

Who erases somebody deletes it, in commands that need none of the columns that it holds.
"""

from __future__ import annotations

import glob
from pathlib import Path

ENDING = ".facts.parquet"


def archive_file(db: Path) -> Path:
    """Return the path of the archive of a database, beside it."""
    return db.with_name(db.name + ENDING)


def delete_archive(db: Path) -> None:
    """Delete the archive of a database and any unfinished one. To be called when an athlete is
    erased: the next use rebuilds it without them."""
    file = archive_file(db)
    for path in file.parent.glob(glob.escape(file.name) + "*"):
        path.unlink(missing_ok=True)
