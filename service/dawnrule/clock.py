"""The clock and new ids: what a run cannot know from its input."""

from __future__ import annotations

from datetime import UTC, datetime
from uuid import uuid4


def now() -> datetime:
    """This moment, aware, in UTC."""
    return datetime.now(UTC)


def new_id() -> str:
    """An id that is given to nothing else."""
    return str(uuid4())
