"""How much is tried: enough in a short run to notice what is wrong, and more in a long one.

``DAWNRULE_TESTS=long`` asks for the long run. What is asserted is the same in both.
"""

from __future__ import annotations

import os

LONG_RUN = os.environ.get("DAWNRULE_TESTS") == "long"


def tries(short: int, long: int) -> int:
    """Return how often something is tried in this run."""
    return long if LONG_RUN else short
