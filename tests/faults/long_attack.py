"""All attacks at once, for as long as one likes, on the service as a club runs it.

Run from the checkout: ``python -m tests.faults.long_attack --minutes 30 --processes 2``. On one
database, phones and a sheet check in and correct; sessions are logged; athletes come and are
erased; advice, scorecards and replays are read; back-ups are made; batches of 5,000 rows, and
others of all or none, are posted; rule sets are published; connections stall; HEADs, broken
bodies and broken workbooks are sent; and with ``--kill-each SECONDS`` the last of the processes is
killed and started again. For a quarter of each two minutes all are silent but a batch and a phone,
so that it is seen how long a phone waits for a batch alone. ``--only readers replays phones`` is
for some of these.

At the end, what was acknowledged must be there; nobody may have been answered otherwise than
expected, or with 5xx but 503 with Retry-After; the phone must not have waited for too long; the
memory of the processes that were not killed must not have grown; and the ledger must verify. A
connection that broke in a request to a process that was killed meanwhile is counted and no fault.
Ends with 1 when a promise was broken.
"""

from __future__ import annotations

import argparse
import random
import sys
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from functools import partial
from itertools import count
from pathlib import Path
from statistics import mean, quantiles
from tempfile import TemporaryDirectory
from threading import Event

from dawnrule.application.leftovers import Leftovers
from dawnrule.clock import now
from dawnrule.model.entities import Athlete
from dawnrule.store import Key, Role, Store, Transaction, hash_key, new_key
from tests.faults.attackers import (
    ANY_REFUSAL,
    Asking,
    Attacker,
    Batch,
    LonePhone,
    Phones,
    Rows,
    Sheet,
    ask_for_heads,
    back_up,
    harm,
    publish,
    read,
    replay,
)
from tests.faults.caller import NO_ANSWER
from tests.faults.club import Club
from tests.faults.killing import Client, Promised, wrong_with
from tests.faults.watch import ALONE, BATCH, BESIDE_A_BATCH, LONE, YES, Watch, WatchedCaller
from tests.security.slow_connections import slow_connections

ROUND_SECONDS = 120.0
QUIET_SHARE = 0.25
PHONES = 3
SLOW = "slow-connections"
SLOW_CONNECTIONS = 100
ALL = (
    "phones",
    "newcomers",
    "sheet",
    "batch",
    "all-or-none",
    "lone-phone",
    "readers",
    "replays",
    "heads",
    "rule-sets",
    "harm",
    "back-ups",
    SLOW,
)
IN_A_SHEET = 20
DAYS_OF_A_BATCH = 50
MOST_TOGETHER = 50
AFTER_NO_ANSWER_SECONDS = 0.3
LONE_PHONE = "lone-0"
HARM = "POST what is no check-in"
REFUSES_RULES = frozenset({200, 201, 400, 409, 422})
GROWN_BY_SHARE, GROWN_BY_MEGABYTES = 0.15, 10.0
WARM_AFTER_MINUTES = 3
LOG_LINES_AS_THEY_SHOULD_BE = ('logger="dawnrule.leftovers"', ": The store is busy")
"""A process that starts after a kill says that it finishes an erasure; and whoever is told to come
back stands in the log."""


@dataclass(frozen=True, slots=True)
class Options:
    """How hard, and for how long. ``rows`` of a batch are a multiple of its days."""

    minutes: float = 30.0
    processes: int = 2
    rows: int = 5_000
    kill_each: float = 0.0
    longest_wait_ms: float = 500.0
    seed: int = 1
    only: tuple[str, ...] = ALL

    @property
    def seconds(self) -> float:
        return 60 * self.minutes


@dataclass(slots=True)
class Timetable:
    """When it is noisy, when quiet, and when over."""

    seconds: float
    has_quiet: bool
    began: float = field(default_factory=time.monotonic)
    stop: Event = field(default_factory=Event)

    def is_over(self) -> bool:
        return self.stop.is_set() or time.monotonic() > self.began + self.seconds

    def is_quiet(self) -> bool:
        """The last quarter of each round is, where there is a batch to wait for."""
        if not self.has_quiet:
            return False
        round_seconds = min(ROUND_SECONDS, self.seconds)
        place = (time.monotonic() - self.began) % round_seconds
        return place > (1 - QUIET_SHARE) * round_seconds

    def pause(self, seconds: float) -> None:
        """Wait, but for no more than a small part of the whole."""
        self.stop.wait(min(seconds, self.seconds / 20))


@dataclass(frozen=True, slots=True)
class Part:
    """One who takes part: how long they pause between two things, and when they are silent."""

    name: str
    attacker: Attacker
    pause_seconds: float
    in_noise: bool = True
    in_quiet: bool = False

    def take(self, timetable: Timetable) -> None:
        """Do one thing after the other until it is over."""
        while not timetable.is_over():
            if not (self.in_quiet if timetable.is_quiet() else self.in_noise):
                time.sleep(0.05)
                continue
            try:
                self.attacker.act()
            except NO_ANSWER:  # counted, and a fault or not, by who was watching
                time.sleep(AFTER_NO_ANSWER_SECONDS)
            timetable.pause(self.pause_seconds)


@dataclass(slots=True)
class Attack:
    """Everybody who takes part, on one club."""

    options: Options
    db: Path
    club: Club
    watch: Watch = field(default_factory=Watch)
    keys: dict[Role, list[str]] = field(default_factory=dict)
    memory_mb: list[list[tuple[int, float]]] = field(default_factory=list)
    kills: int = 0

    def caller(
        self,
        name: str,
        role: Role = Role.COACH,
        kind: str | None = None,
        expects: frozenset[int] = YES,
    ) -> WatchedCaller:
        """One with a key of their own."""
        key = new_key()
        self.keys.setdefault(role, []).append(key)
        chance = random.Random(f"{self.options.seed}-{name}")
        return WatchedCaller(self.club, self.watch, key, chance, kind, expects)

    def parts(self, squad: list[Athlete]) -> Iterator[Part]:
        """All who take part; their athletes are added to a squad."""
        for number in range(PHONES):
            yield self._phones("phones", number, (80, 20, 0), 0.1, squad)
        yield self._phones("newcomers", PHONES, (30, 10, 60), 10, squad)
        sheet = self._rows("s", IN_A_SHEET, 1, "POST a sheet", squad)
        yield Part("sheet", Sheet(sheet), 5)
        batch = self._rows("b", self.options.rows // DAYS_OF_A_BATCH, DAYS_OF_A_BATCH, BATCH, squad)
        yield Part("batch", Batch(batch), 1, in_noise=False, in_quiet=True)
        kind = "POST a batch of all or none"
        together = self._rows("t", min(MOST_TOGETHER, self.options.rows), 1, kind, squad)
        yield Part("all-or-none", Batch(together, "?atomic=true"), 5)
        squad.append(Athlete(LONE_PHONE, "Kim", "UTC"))
        lone = LonePhone(self.caller(LONE, kind=LONE), LONE_PHONE)
        yield Part("lone-phone", lone, 0.3, in_quiet=True)
        for number in range(2):
            reader = self.caller(f"reader {number}")
            yield Part("readers", Asking(partial(read, reader)), 0.2)
        replayer = self.caller("replays", expects=YES | {404})
        yield Part("replays", Asking(partial(replay, replayer)), 5)
        yield Part("heads", Asking(partial(ask_for_heads, self.caller("heads"))), 1)
        publisher = self.caller("rule sets", expects=REFUSES_RULES)
        yield Part("rule-sets", Asking(partial(publish, publisher, count(1))), 15)
        harmful = self.caller("harm", kind=HARM, expects=ANY_REFUSAL)
        yield Part("harm", Asking(partial(harm, harmful)), 1)

    def _phones(
        self,
        name: str,
        number: int,
        habits: Sequence[int],
        pause_seconds: float,
        squad: list[Athlete],
    ) -> Part:
        client = Client(number, self.options.seed, habits)
        squad += client.squad()
        return Part(name, Phones(self.caller(f"phones {number}"), client), pause_seconds)

    def _rows(self, name: str, many: int, days: int, kind: str, squad: list[Athlete]) -> Rows:
        athletes = [f"{name}-{number}" for number in range(many)]
        squad += [Athlete(athlete_id, "Kim", "UTC") for athlete_id in athletes]
        return Rows(self.caller(name, Role.POSTER, kind), athletes, days)

    def run(self) -> list[Promised]:
        """Attack, and return what was promised meanwhile."""
        squad: list[Athlete] = []
        parts = list(self.parts(squad))
        self._make_squad(squad)
        folder = self.db.with_name("back-ups")
        folder.mkdir()
        backing_up = Asking(partial(back_up, self.db, folder, self.watch))
        parts.append(Part("back-ups", backing_up, 60))
        parts = [part for part in parts if part.name in self.options.only]
        with self.club:
            with ExitStack() as stack:
                for service in self.club.services if SLOW in self.options.only else ():
                    stack.enter_context(slow_connections(service.port, SLOW_CONNECTIONS))
                self._take_all(parts, Timetable(self.options.seconds, "batch" in self.options.only))
            for service in self.club.services:
                if code := service.stop():
                    self.watch.fault(f"the service ended with {code}")
        return [part.attacker.promised for part in parts]

    def _take_all(self, parts: Sequence[Part], timetable: Timetable) -> None:
        jobs = [
            *(partial(part.take, timetable) for part in parts),
            partial(self._measure_memory, timetable),
            partial(self._kill_now_and_then, timetable),
        ]
        with ThreadPoolExecutor(len(jobs)) as pool, _ends_with_a_failure(timetable):
            for one in [pool.submit(job) for job in jobs]:
                one.result()

    def _make_squad(self, squad: Sequence[Athlete]) -> None:
        def put(transaction: Transaction) -> None:
            for athlete in squad:
                transaction.athletes.put(athlete)
            for role, keys in self.keys.items():
                for key in keys:
                    hashed = hash_key(key)
                    transaction.keys.add(Key(hashed[:12], role, None, None, now()), hashed)

        with Store.open(self.db) as store:
            store.write(put)

    def _measure_memory(self, timetable: Timetable) -> None:
        """Each minute, or more often when all is over sooner."""
        every = min(60.0, self.options.seconds / 30)
        while not timetable.is_over():
            timetable.stop.wait(every)
            self.memory_mb.append(
                [
                    (service.kills, service.resident_megabytes())
                    for service in self.club.services
                    if service.is_up
                ]
            )
            told = "  ".join(f"{megabytes:.0f} MB" for _, megabytes in self.memory_mb[-1])
            minutes = (time.monotonic() - timetable.began) / 60
            size = self.db.stat().st_size / 1e6
            print(
                f"{minutes:5.1f} min  {self.watch.answers():9,} answers  {told}  "
                f"database {size:,.0f} MB  {self.watch.faults.total()} faults",
                flush=True,
            )

    def _kill_now_and_then(self, timetable: Timetable) -> None:
        while self.options.kill_each and not timetable.is_over():
            timetable.stop.wait(min(self.options.kill_each, self.options.seconds / 3))
            if not timetable.is_over():
                self.club.services[-1].kill()
                self.kills += 1
                self.club.services[-1].start()
                self.club.services[-1].await_connections()


@contextmanager
def _ends_with_a_failure(timetable: Timetable) -> Iterator[None]:
    """Whoever takes part and fails ends it for all."""
    try:
        yield
    finally:
        timetable.stop.set()


# ---- what is wrong afterwards


OFTEN = 10
"""How often a request is sent before its refusals count; some are right, as of what is not there
yet."""


def grown(megabytes: Sequence[float]) -> str | None:
    """Whether the memory of a process has grown from the first third of its measurements to the
    last."""
    third = len(megabytes) // 3
    if not third:
        return None
    first, last = mean(megabytes[:third]), mean(megabytes[-third:])
    if last > first * (1 + GROWN_BY_SHARE) + GROWN_BY_MEGABYTES:
        return f"memory has grown from {first:.0f} to {last:.0f} MB"
    return None


def too_slow(seconds: Sequence[float], longest_ms: float) -> str | None:
    """Whether a lone check-in has waited for too long."""
    waited_ms = 1000 * max(seconds, default=0)
    if waited_ms > longest_ms:
        return f"a lone check-in waited for {waited_ms:.0f} ms beside a batch"
    return None


def never_accepted(watch: Watch) -> Iterator[str]:
    """What was refused however often it was sent: then nothing was tried by it."""
    for kind, statuses in watch.statuses.items():
        is_refused = all(status.startswith("4") for status in statuses)
        if kind != HARM and is_refused and statuses.total() >= OFTEN:
            yield f"never accepted: {kind}"


def broken(attack: Attack, promises: Sequence[Promised]) -> list[str]:
    """Every promise that was not kept."""
    found = [f"{many} times: {said}" for said, many in attack.watch.faults.most_common()]
    found += [one for one in [_memory(attack), _wait(attack)] if one]
    found += never_accepted(attack.watch)
    for service in attack.club.services:
        for line in service.log.read_text(encoding="utf-8").splitlines():
            if not _is_as_it_should_be(line):
                found.append(f"log: {line}")
    with Store.open(attack.db) as store:
        Leftovers(store).finish()
    for promised in promises:
        promised.wiped |= promised.erased
    return found + wrong_with(attack.db, list(promises))


def _memory(attack: Attack) -> str | None:
    """Of the first process, which is killed only when it is the only one; a process that has not
    done everything once is still filling."""
    first = [one[0] for one in attack.memory_mb if one]
    lived = [megabytes for kills, megabytes in first if kills == 0]
    return grown(lived[WARM_AFTER_MINUTES:]) if attack.options.minutes >= 10 else None


def _wait(attack: Attack) -> str | None:
    return too_slow(attack.watch.lone_seconds[BESIDE_A_BATCH], attack.options.longest_wait_ms)


def _is_as_it_should_be(line: str) -> bool:
    return line.startswith("Serving http") or any(
        known in line for known in LOG_LINES_AS_THEY_SHOULD_BE
    )


# ---- what is told


def told(attack: Attack, promises: Sequence[Promised]) -> Iterator[str]:
    """A table of what was asked and how it was answered, and the figures."""
    yield f"{'request':44} {'p50 ms':>8} {'p99 ms':>8} {'longest':>8}  answers"
    for kind, statuses in sorted(attack.watch.statuses.items()):
        p50, p99, longest = _waits_ms(attack.watch.seconds[kind])
        answers = ", ".join(f"{status}: {many:,}" for status, many in sorted(statuses.items()))
        yield f"{kind:44} {p50:8,.0f} {p99:8,.0f} {longest:8,.0f}  {answers}"
    for beside, what in (
        (BESIDE_A_BATCH, f"a batch of {attack.options.rows:,} rows"),
        (ALONE, "nothing"),
    ):
        seconds = attack.watch.lone_seconds[beside]
        p50, p99, longest = _waits_ms(seconds)
        yield (
            f"{len(seconds)} lone check-ins beside {what}: "
            f"p50 {p50:.0f} ms, p99 {p99:.0f} ms, longest {longest:.0f} ms"
        )
    yield (
        f"acknowledged: {sum(len(one.check_ins) for one in promises):,} check-ins, "
        f"{sum(len(one.sessions) for one in promises):,} sessions, "
        f"{sum(len(one.erased) for one in promises):,} erasures; killed {attack.kills} times"
    )


def _waits_ms(seconds: Sequence[float]) -> tuple[float, float, float]:
    if len(seconds) < 2:
        only = 1000 * sum(seconds)
        return only, only, only
    hundredths = quantiles(seconds, n=100, method="inclusive")
    return 1000 * hundredths[49], 1000 * hundredths[98], 1000 * max(seconds)


def options() -> Options:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--minutes", type=float, default=30.0)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--rows", type=int, default=5_000, help="of a batch")
    parser.add_argument("--kill-each", type=float, default=0.0, help="so many seconds; 0: never")
    parser.add_argument("--longest-wait-ms", type=float, default=500.0, help="beside a batch")
    parser.add_argument("--seed", type=int, default=random.randrange(1_000_000))
    parser.add_argument("--only", nargs="+", choices=ALL, default=ALL, help="who takes part")
    chosen = vars(parser.parse_args())
    return Options(**chosen | {"only": tuple(chosen["only"])})


def attacked(chosen: Options) -> list[str]:
    """Attack, print what was asked and answered, and return every promise that was broken."""
    with TemporaryDirectory() as folder:
        db = Path(folder) / "squad.db"
        attack = Attack(chosen, db, Club.of(db, chosen.processes))
        promises = attack.run()
        print("\n".join(told(attack, promises)), flush=True)
        return broken(attack, promises)


def main() -> None:
    """Attack, and print what was found; ends with 1 when a promise was broken."""
    chosen = options()
    print(chosen, flush=True)
    found = attacked(chosen)
    print("\n".join(found[:50]))
    print(f"{len(found)} promises broken")
    sys.exit(1 if found else 0)


if __name__ == "__main__":
    main()
