"""A replay on a real cluster beside the embedded database: ``python -m tests.spark``.

Starts an Apache Spark cluster of its own on this machine, a master and one worker and then two,
decides the same mornings on it and in DuckDB, and compares what they count. Needs the extra
``spark`` and a Java runtime; ends the processes that it started. Not part of the test run: the
package weighs 450 MB.
"""

from __future__ import annotations

import argparse
import os
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from functools import partial
from pathlib import Path
from typing import TypeVar
from urllib.request import urlopen

import duckdb
import pyspark

from dawnrule.analytics.cluster import replayed_in, session
from dawnrule.analytics.replay import Replayed, replayed_of_counts
from dawnrule.model import FactDictionary
from dawnrule.rules.query import counts_of_fired, counts_of_verdicts, facts_of_query
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.rules.rule_set import RuleSet
from dawnrule.settings import name_and_version
from tests.rules.test_query import mornings_at_the_edges
from tests.rules.warehouses import create_facts

T = TypeVar("T")

DICTIONARY = FactDictionary.bundled()
DISTINCT, DAYS_IN_A_FILE = 20_000, 25
"""So many mornings are drawn, all of one date; they come again on later dates."""

SECONDS_TO_START = 300
HOST = "127.0.0.1"
HOME = Path(pyspark.__file__).parent
OPTIONS = {
    "spark.driver.host": HOST,
    "spark.driver.bindAddress": HOST,
    "spark.executor.memory": "2g",
    "spark.executor.cores": "1",
    "spark.ui.enabled": "false",
    "spark.sql.shuffle.partitions": "8",
}


def write_mornings(folder: Path, number: int, rule_set: RuleSet) -> None:
    """Write so many mornings with the parts of their plans, in several Parquet files."""
    distinct = list(mornings_at_the_edges(rule_set, min(DISTINCT, number), seed=1))
    with duckdb.connect() as database:
        database.execute("SET enable_progress_bar = false")
        create_facts(database, distinct, rule_set, folder)
        said = "'train-as-planned' AS verdict, CAST(NULL AS TEXT) AS rule_id"
        days = -(-number // len(distinct))
        for first in range(0, days, DAYS_IN_A_FILE):
            of_file = f"range({first}, {min(first + DAYS_IN_A_FILE, days)}) AS later(days)"
            database.execute(
                f"COPY (SELECT * EXCLUDE (days) REPLACE (date + days::INTEGER AS date), {said} "
                f"FROM facts, {of_file}) TO '{folder}/mornings-{first:05}.parquet' (FORMAT parquet)"
            )


def replayed_embedded(folder: Path, rule_set: RuleSet) -> Replayed:
    """Count by the same two queries in DuckDB."""
    with duckdb.connect() as database:
        database.execute("SET enable_progress_bar = false")
        database.execute(f"CREATE VIEW facts AS FROM '{folder}/*.parquet'")
        verdicts, [fired] = (
            database.execute(counts(rule_set, DICTIONARY, "facts").sql("duckdb")).fetchall()
            for counts in (counts_of_verdicts, counts_of_fired)
        )
        return replayed_of_counts(rule_set, verdicts, fired)


@contextmanager
def cluster(workers: int, folder: Path) -> Iterator[str]:
    """Start a cluster of so many workers, with a core each; return its address."""
    port, page = free_port(), free_port()
    address = f"spark://{HOST}:{port}"
    with ExitStack() as stack:
        master = "org.apache.spark.deploy.master.Master"
        ports = ("--port", str(port), "--webui-port", str(page))
        stack.enter_context(running(folder, master, "--host", HOST, *ports))
        for number in range(workers):
            worker = "org.apache.spark.deploy.worker.Worker"
            work = folder / f"worker-{number}"
            size = ("-c", "1", "-m", "2g", "-d", str(work), "--webui-port", str(free_port()))
            stack.enter_context(running(folder, worker, "--host", HOST, *size, address))
        wait_for(workers, f"http://{HOST}:{page}/json/")
        yield address


@contextmanager
def running(folder: Path, *words: str) -> Iterator[None]:
    """Run one program of the cluster, and end it."""
    with (folder / f"{words[0].rpartition('.')[2]}.log").open("ab") as log:
        program = subprocess.Popen(
            [str(HOME / "bin" / "spark-class"), *words], stdout=log, stderr=subprocess.STDOUT
        )
        try:
            yield
        finally:
            program.terminate()
            program.wait()


def wait_for(workers: int, page: str) -> None:
    """Wait until the master knows so many workers."""
    until = time.monotonic() + SECONDS_TO_START
    while time.monotonic() < until:
        try:
            with urlopen(page) as answer:
                if answer.read().count(b'"ALIVE"') >= workers + 1:
                    return
        except OSError:
            pass
        time.sleep(0.3)
    raise SystemExit(f"the cluster did not start within {SECONDS_TO_START} s")


def free_port() -> int:
    """A port that nobody listens on."""
    with socket.socket() as one:
        one.bind((HOST, 0))
        return int(one.getsockname()[1])


def timed(work: Callable[[], T]) -> tuple[T, float]:
    """The result of some work, and how long it took."""
    start = time.perf_counter()
    return work(), time.perf_counter() - start


def main() -> int:
    """Decide, compare and print; 1 where the counts differ."""
    parser = argparse.ArgumentParser(description="A replay on a cluster of this machine.")
    parser.add_argument("--rules", default="baseline@1.0.0", metavar="NAME@VERSION")
    parser.add_argument("--mornings", type=int, default=10_000_000)
    asked = parser.parse_args()
    rule_set = RuleSetLibrary.bundled().get(*name_and_version(asked.rules))
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        archive = folder / "archive"
        archive.mkdir()
        configured(folder)
        write_mornings(archive, asked.mornings, rule_set)
        embedded, seconds = timed(partial(replayed_embedded, archive, rule_set))
        facts = len(facts_of_query(rule_set))
        print(f"{len(rule_set.rules)} rules of {rule_set.full_name} over {facts} facts")
        print(f"{embedded.mornings:,} mornings, {embedded.decisions:,} decisions")
        print(f"{'':24}{'seconds':>9}{'decisions/s':>13}  counts")
        show("DuckDB", embedded, seconds, embedded)
        alike = True
        for workers in (1, 2):
            with cluster(workers, folder) as master, session(master) as spark:
                result, seconds = timed(partial(replayed_in, spark, [str(archive)], rule_set))
            named = "one worker" if workers == 1 else f"{workers} workers"
            show(f"Spark, {named}", result, seconds, embedded)
            alike &= result == embedded
    return 0 if alike else 1


def configured(folder: Path) -> None:
    """Write the settings that Spark finds by its own variables."""
    lines = (f"{name} {value}" for name, value in OPTIONS.items())
    (folder / "spark-defaults.conf").write_text("\n".join(lines), encoding="utf-8")
    os.environ |= {
        "SPARK_HOME": str(HOME),
        "SPARK_CONF_DIR": str(folder),
        "SPARK_LOCAL_IP": HOST,
        "PYSPARK_PYTHON": sys.executable,
    }


def show(who: str, result: Replayed, seconds: float, beside: Replayed) -> None:
    """Print a row of the table."""
    same = "equal" if result == beside else "DIFFERENT"
    print(f"{who:24}{seconds:9.1f}{result.decisions / seconds:13,.0f}  {same}", flush=True)


if __name__ == "__main__":
    sys.exit(main())
