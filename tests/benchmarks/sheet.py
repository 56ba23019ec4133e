"""Seconds until a squad file of thousands of rows is advised on.

Run from the checkout: ``python -m tests.benchmarks.sheet``. The rows are the mornings of the
spreadsheet's squad, told by as many athletes. Each run of ``dawnrule advise`` is compared with a
process that only imports flask, run right before it; ``--processes`` compares numbers of them.
``--stored`` posts the rows to the service instead, a thousand at a time, which stores them.
"""

from __future__ import annotations

import argparse
import csv
import json
import os
import resource
import statistics
import sys
import time
from collections.abc import Iterator, Sequence
from itertools import cycle, islice
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.benchmarks.http import KEY, service
from tests.benchmarks.start import SHEET, done

ROWS_OF_A_POST = 1_000


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


def stored(file: Path, folder: Path) -> float:
    """Seconds until the service has stored and answered all rows."""
    client = service(folder).test_client()
    header, *mornings = file.read_text(encoding="utf-8").splitlines()
    headers = {"Authorization": f"Bearer {KEY}", "Content-Type": "text/csv"}
    began = time.perf_counter()
    for some in batched(mornings, ROWS_OF_A_POST):
        text = "\n".join((header, *some))
        answer = client.post("/v1/check-ins/batch", data=text, headers=headers)
        assert json.loads(answer.text)["accepted"] == len(some), answer.text
    return time.perf_counter() - began


def batched(lines: Sequence[str], size: int) -> Iterator[Sequence[str]]:
    """So many lines at a time."""
    return (lines[start : start + size] for start in range(0, len(lines), size))


def compare_stored(file: Path, rounds: int) -> None:
    """Print how long storing the rows takes."""
    ratios = []
    for _ in range(rounds):
        flask, _ = measured(sys.executable, "-c", "import flask")
        with TemporaryDirectory() as folder:
            ratios.append(stored(file, Path(folder)) / flask)
    print(f"stored, {ROWS_OF_A_POST:,} at a time   {statistics.median(ratios):5.1f} x import flask")


def main() -> None:
    """Print a line for each number of processes."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=5000)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--processes", type=int, nargs="+", default=[1, os.cpu_count() or 1])
    parser.add_argument("--stored", action="store_true")
    options = parser.parse_args()
    with TemporaryDirectory() as folder:
        file = Path(folder) / "squad.csv"
        write_sheet(file, options.rows)
        if options.stored:
            compare_stored(file, options.rounds)
            return
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
