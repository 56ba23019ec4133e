"""Time until a command of the command line is done, or the service is ready.

Run from the checkout: ``python -m tests.benchmarks.start``. Each is run in turn with a process
that only imports flask, and compared with the one right before it, so that a machine that is busy
or slow at times is so for both. What counts is the ratio.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from tempfile import TemporaryDirectory

SHEET = Path(__file__).parents[2] / "clients_demo" / "spreadsheet" / "squad.csv"
_DAWNRULE = (sys.executable, "-m", "dawnrule")


def seconds(job: Callable[[], object]) -> float:
    start = time.perf_counter()
    job()
    return time.perf_counter() - start


def done(*command: str) -> float:
    """Seconds until a command has ended."""
    return seconds(lambda: subprocess.run(command, capture_output=True, check=True))


def ready(db: Path) -> float:
    """Seconds until the service says that it serves, with its socket open."""
    start = time.perf_counter()
    command = (*_DAWNRULE, "serve", "--port", "0", "--db", str(db))
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as service:
        assert service.stderr is not None
        said = next((line for line in service.stderr if line.startswith("Serving")), None)
        took = time.perf_counter() - start
        service.terminate()
    if said is None:
        raise RuntimeError("the service ended before it was ready")
    return took


def starts(folder: Path) -> Mapping[str, Callable[[], float]]:
    db = folder / "squad.db"
    return {
        "--version": lambda: done(*_DAWNRULE, "--version"),
        "--help": lambda: done(*_DAWNRULE, "--help"),
        "advise": lambda: done(*_DAWNRULE, "advise", str(SHEET)),
        "serve": lambda: ready(db),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=15, help="how often each is started")
    args = parser.parse_args()
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # what is installed has been compiled
    with TemporaryDirectory() as folder:
        for name, start in starts(Path(folder)).items():
            start()  # compiles what was changed, and makes the database
            pairs = [
                (done(sys.executable, "-c", "import flask"), start()) for _ in range(args.rounds)
            ]
            low, middle, high = statistics.quantiles([ours / flask for flask, ours in pairs], n=4)
            took = statistics.median(ours for _, ours in pairs)
            print(
                f"{name:10} {took:5.2f} s   {middle:5.2f} ({low:.2f} to {high:.2f}) x import flask"
            )


if __name__ == "__main__":
    main()
