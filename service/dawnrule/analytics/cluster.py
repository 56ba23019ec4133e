"""Replays on Apache Spark: the same query as in any other database, on as many machines as there
are. Needs ``pip install 'dawnrule[spark]'`` and a Java runtime.

Archives are read where the cluster reads them, so an archive is a path that all of its machines
share or an address that they know. Who was erased from one is left out by its tombstones.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import date
from socket import create_connection
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from dawnrule.analytics.replay import Replayed, replayed_of_counts
from dawnrule.analytics.tombstones import ERASED
from dawnrule.errors import InvalidInput
from dawnrule.model import FactDictionary
from dawnrule.rules.query import (
    FACT_TYPES,
    counts_of_fired,
    counts_of_verdicts,
    facts_of_query,
    type_name,
)
from dawnrule.rules.rule_set import RuleSet

if TYPE_CHECKING:
    from pyspark.sql import DataFrame, DataFrameReader, SparkSession

_TABLE = "facts"

_OF_A_CLUSTER = "spark://"
_SECONDS_TO_ANSWER = 5

_OPTIONS = {
    "spark.ui.showConsoleProgress": "false",
    "spark.sql.autoBroadcastJoinThreshold": "-1",
}
"""Mornings are as many after a join as before, and far more than the size of their compressed files
lets Spark believe: it would send all of them to every worker."""


def replayed_on_cluster(
    master: str, archives: Sequence[str], rule_set: RuleSet, first: date | None, last: date | None
) -> Replayed:
    """Decide the mornings of archives between two dates again on a cluster, both included, and
    count; None leaves an end open. Mornings and athletes are counted, not listed.

    Raises ``InvalidInput`` where Spark is not installed, something cannot be read, or an archive is
    given twice: Spark would count it twice.
    """
    for place, times in Counter(map(_place, archives)).items():
        if times > 1:
            raise InvalidInput(f"The archive {place} is given twice. Give it once.")
    with session(master) as spark:
        return replayed_in(spark, archives, rule_set, first, last)


def _place(archive: str) -> str:
    """Return what all ways to write an archive's path or address have in common."""
    path = archive.removeprefix("file://")
    return archive.rstrip("/") if "://" in path else os.path.realpath(path)


def replayed_in(
    spark: SparkSession,
    archives: Sequence[str],
    rule_set: RuleSet,
    first: date | None = None,
    last: date | None = None,
) -> Replayed:
    """Decide and count in a session that is open."""
    dictionary = FactDictionary.bundled()
    read = mornings(spark, archives, rule_set, dictionary)
    within = read.where(read.date >= first) if first else read
    (within.where(within.date <= last) if last else within).createOrReplaceTempView(_TABLE)
    verdicts, fired = (
        [
            tuple(row)
            for row in spark.sql(counts(rule_set, dictionary, _TABLE).sql("spark")).collect()
        ]
        for counts in (counts_of_verdicts, counts_of_fired)
    )
    return replayed_of_counts(rule_set, verdicts, fired[0])


def mornings(
    spark: SparkSession, archives: Sequence[str], rule_set: RuleSet, dictionary: FactDictionary
) -> DataFrame:
    """Read the facts of archives as one table, without those who are on their lists of who was
    erased. Facts that no archive has were not reported."""
    files = _reader(spark, "mornings*.parquet").option("mergeSchema", "true").parquet(*archives)
    erased = _reader(spark, ERASED).text(list(archives))
    left = files.join(erased.hint("broadcast"), files.athlete_id == erased.value, "left_anti")
    types = {fact: FACT_TYPES[dictionary[fact].type] for fact in facts_of_query(rule_set)}
    missing = [
        f"CAST(NULL AS {type_name(of_type, 'spark')}) AS {fact}"
        for fact, of_type in types.items()
        if fact not in files.columns
    ]
    return left.selectExpr("*", *missing)


def _reader(spark: SparkSession, names: str) -> DataFrameReader:
    """Read files of some names in folders, however deep."""
    return spark.read.option("recursiveFileLookup", "true").option("pathGlobFilter", names)


@contextmanager
def session(master: str) -> Iterator[SparkSession]:
    """Open a session on a cluster. Raises ``InvalidInput`` where Spark is not installed or no
    master answers, and for what Spark refuses."""
    try:
        from py4j.protocol import Py4JError
        from pyspark.errors import PySparkException
        from pyspark.sql import SparkSession
    except ModuleNotFoundError as error:
        raise InvalidInput("Spark is not installed: pip install 'dawnrule[spark]'.") from error
    _require_answer(master)
    builder = SparkSession.builder.config(map=_OPTIONS).master(master).appName("dawnrule")
    try:
        spark = builder.getOrCreate()
        spark.sparkContext.setLogLevel("ERROR")
        try:
            yield spark
        finally:
            spark.stop()
    except (PySparkException, Py4JError) as error:
        raise InvalidInput(f"Spark: {_told_by(error)}") from error


def _require_answer(master: str) -> None:
    """Raise ``InvalidInput`` where nothing listens at any address of a cluster's master: Spark
    would try for more than a minute, and then tell of something else. Masters of other kinds than
    ``spark://`` are left to Spark."""
    addresses = master.removeprefix(_OF_A_CLUSTER).split(",")
    if master.startswith(_OF_A_CLUSTER) and not any(map(_answers, addresses)):
        raise InvalidInput(
            f"No cluster answers at {master}. Start it, or give the address that its master's page "
            "shows, like spark://10.0.0.5:7077. Without --engine and --master this machine decides."
        )


def _answers(address: str) -> bool:
    """Tell whether anything listens at a host and port."""
    try:
        named = urlsplit(f"//{address}")
        create_connection((named.hostname, named.port or 0), _SECONDS_TO_ANSWER).close()
    except (OSError, ValueError):
        return False
    return True


def _told_by(error: Exception) -> str:
    """Return the line in which an error names its cause; Java's begin with a colon."""
    lines = str(error).splitlines() or [type(error).__name__]
    return next((line[2:] for line in lines if line.startswith(": ")), lines[0])
