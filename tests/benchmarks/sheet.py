"""Seconds until a squad file of thousands of rows is advised on.

Run from the checkout: ``python -m tests.benchmarks.sheet``. The rows are the mornings of the
spreadsheet's squad, told by as many athletes. Each run of ``dawnrule advise`` is compared with a
process that only imports flask, run right before it; ``--processes`` compares numbers of them.
"""

from __future__ import annotations

import argparse
import csv
import os
import resource
import statistics
import sys
from itertools import cycle, islice
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.benchmarks.start import SHEET, done


def write_sheet(file: Path, rows: int) -> None:
    """Write so many mornings, each of another athlete."""
    with SHEET.open(newline="", encoding="utf-8") as given, file.open("w", newline="") as made:
        header, *mornings = csv.reader(given)
        out = csv.writer(made)
        out.writerow(header)
        for number, (_, *said) in enumerate(islice(cycle(mornings), rows)):
            out.writerow([f"a-{number}", *said])


def measured(*command: str) -> tuple[float, float]:
    """Seconds that a command takes, and those of all processors that it takes."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    took = done(*command)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return took, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main() -> None:
    """Print a line for each number of processes."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=5000)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--processes", type=int, nargs="+", default=[1, os.cpu_count() or 1])
    options = parser.parse_args()
    with TemporaryDirectory() as folder:
        file = Path(folder) / "squad.csv"
        write_sheet(file, options.rows)
        for processes in options.processes:
            command = (sys.executable, "-m", "dawnrule", "advise", str(file))
            ratios = []
            for _ in range(options.rounds):
                flask = measured(sys.executable, "-c", "import flask")
                ours = measured(*command, "--processes", str(processes))
                ratios.append([one / other for one, other in zip(ours, flask, strict=True)])
            elapsed, of_processors = map(statistics.median, zip(*ratios, strict=True))
            print(
                f"{options.rows:,} rows, processes: {processes}   "
                f"{elapsed:5.1f} x import flask, {of_processors:5.1f} x of processor time"
            )


if __name__ == "__main__":
    main()
