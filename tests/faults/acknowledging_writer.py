"""Writes mornings from four threads for as long as it lives, and names each that was acknowledged.

Run by ``test_store_faults.py`` as ``python acknowledging_writer.py DATABASE PREFIX``. A line is
printed only after the write has returned, in one system call, so that no line is torn.
"""

from __future__ import annotations

import itertools
import os
import sys
import threading
from collections.abc import Callable

from dawnrule.store import Store, Transaction
from tests.factories import KIM, add_advice, add_check_in

THREADS = 4


def morning(name: str) -> Callable[[Transaction], None]:
    """A job of two rows that belong together: a check-in and its advice."""

    def job(transaction: Transaction) -> None:
        add_check_in(transaction, f"c-{name}")
        add_advice(transaction, f"v-{name}", f"c-{name}")

    return job


def write_for_ever(store: Store, prefix: str) -> None:
    for number in itertools.count():
        name = f"{prefix}-{number}"
        store.write(morning(name))
        os.write(sys.stdout.fileno(), f"{name}\n".encode())


def main() -> None:
    database, prefix = sys.argv[1:]
    store = Store.open(database)
    store.write(lambda transaction: transaction.athletes.put(KIM))
    for thread in range(THREADS):
        threading.Thread(target=write_for_ever, args=(store, f"{prefix}-{thread}")).start()


if __name__ == "__main__":
    main()
