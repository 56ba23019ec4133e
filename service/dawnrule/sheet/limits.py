"""How large may a sheet be?"""

from __future__ import annotations

MOST_CHARACTERS = 2_000
"""In one cell."""

MOST_COLUMNS = 256
"""More than twice as many as have a meaning."""

MOST_ROWS = 100_000
"""That are not blank. How many may be answered at once is for the service to say."""

MOST_CELLS = 4_000_000
"""From the first to the last of a workbook's table, blank or not."""

MOST_BYTES_UNPACKED = 50_000_000
"""Of all that a workbook holds."""

MOST_TIMES_PACKED = 250
"""How many times larger than packed a part of a workbook may be: tables of numbers reach some
dozens."""

SMALL_BYTES = 1_000_000
"""A part of a workbook that is no larger harms nobody, however well it was packed."""
