"""A back-up, a restore, an erasure or a migration, killed at each system call that writes.

Run from the checkout: ``python -m tests.faults.killed_at_each_call backup restore erasure
migration``. Each is done once to see by which calls it changes files, and then again for each of
these calls, which is the last thing that its process does. After each kill the next start tidies
up, and whatever is not as before or as afterwards is told. ``--places 20`` is for so many of the
calls, spread evenly. The calls are found and the kills made by ``strace``; where that is not there
or may not look on, the process is killed after random times. Ends with 1 when anything was wrong.
"""

from __future__ import annotations

import argparse
import os
import random
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

from dawnrule.advice.advisor import Advisor
from dawnrule.analytics.archive import Archive
from dawnrule.application.athletes import erase
from dawnrule.application.backups import back_up, backups_of, restore
from dawnrule.application.leftovers import Leftovers
from dawnrule.model.entities import Athlete
from dawnrule.store import Store
from dawnrule.store.migrations import MIGRATIONS
from tests.databases.make import FOLDER, make
from tests.factories import post_check_in
from tests.faults.killed_at import NOW
from tests.faults.killing import unverified
from tests.faults.serving import apart, fork
from tests.warm import read_ahead

WRITING = (
    "write,pwrite64,writev,pwritev,ftruncate,fallocate,copy_file_range,sendfile,fsync,fdatasync,"
    "rename,renameat,renameat2,link,linkat,unlink,unlinkat,mkdir,mkdirat,chmod,fchmod,fchmodat"
)
"""The calls by which a file, its name or what is known to be on the disk changes."""

CALL = re.compile(r"^(\d+) +(\w+)\(", re.MULTILINE)
LEAVER = Athlete("a-rare-id", "Raritas Unmistakable", "Pacific/Chatham")
MORNINGS = 3

Place = tuple[str, int]
"""A system call, and the how manieth of its kind it is for the thread that first does so many."""


@dataclass(frozen=True, slots=True)
class Scene:
    """What is done in a folder: what is there before, the deed, and what is wrong after it was
    killed, when the next start has tidied up."""

    lay: Callable[[Path], None]
    do: Callable[[Path], object]
    wrong: Callable[[Path], Iterator[str]]


# ---- the four deeds


def _db(folder: Path) -> Path:
    return folder / "squad.db"


def _kept(folder: Path) -> Path:
    return folder / "kept"


def _lay_squad(folder: Path) -> None:
    """A squad, and one who leaves, with words that nobody else's look like."""
    make(_db(folder))
    _kept(folder).mkdir()
    advisor = Advisor.bundled()
    with Store.open(_db(folder)) as store:
        for day in range(MORNINGS):
            post_check_in(store, advisor, LEAVER, date(2026, 3, 9) + timedelta(days=day), day)
        Archive(store).mornings()


def _lay_backup(folder: Path) -> None:
    """A squad and its back-up, from which somebody has changed since."""
    _lay_squad(folder)
    back_up(_db(folder), _kept(folder), NOW)
    with Store.open(_db(folder)) as store:
        store.write(lambda rows: rows.athletes.put(Athlete("a-03", "After", "Europe/Berlin")))


def _back_up(folder: Path) -> None:
    back_up(_db(folder), _kept(folder), NOW)


def _restore(folder: Path, hours_later: int = 1) -> None:
    [backup] = backups_of(_db(folder), _kept(folder))
    restore(backup, _db(folder), NOW + timedelta(hours=hours_later), replace=True)


def _erase(folder: Path) -> None:
    with Store.open(_db(folder)) as store:
        erase(store, LEAVER.id, by="k-01", at=NOW)


def _start(folder: Path) -> Iterator[str]:
    """What the next start does, and what an audit says then."""
    with Store.open(_db(folder)) as store:
        Leftovers(store).finish()
    yield from unverified(_db(folder))


def _records(db: Path) -> list[tuple[str, ...]]:
    with closing(sqlite3.connect(db)) as connection:
        return connection.execute("SELECT id, record FROM advice ORDER BY position").fetchall()


def _name(db: Path) -> str:
    with closing(sqlite3.connect(db)) as connection:
        [[name]] = connection.execute("SELECT name FROM athletes WHERE id = 'a-03'")
        return str(name)


def _half_made(folder: Path) -> Iterator[str]:
    for file in folder.glob(".*"):
        yield f"{file.name} was left in {folder.name}/"


def _wrong_after_backup(folder: Path) -> Iterator[str]:
    yield from _start(folder)
    db, kept = _db(folder), _kept(folder)
    for file in backups_of(db, kept):
        if _records(file) != _records(db):
            yield f"{file.name} is not what was backed up"
    back_up(db, kept, NOW + timedelta(hours=1))
    yield from _half_made(kept)
    yield from _half_made(folder)


def _wrong_after_restore(folder: Path) -> Iterator[str]:
    db = _db(folder)
    if _name(db) not in ("Mara", "After"):
        yield f"a-03 is called {_name(db)}"
    yield from _start(folder)
    yield from _half_made(folder)
    _restore(folder, hours_later=2)
    if _name(db) != "Mara":
        yield f"restored once more, a-03 is called {_name(db)}"
    yield from _half_made(folder)


def _wrong_after_erasure(folder: Path) -> Iterator[str]:
    yield from _start(folder)
    db = _db(folder)
    with Store.open(db) as store:
        is_there = LEAVER.id in {one.id for one in store.read(lambda rows: rows.athletes.all())}
        if is_there:
            there = sum(LEAVER.id in record for _, record in _records(db))
            if there != MORNINGS:
                yield f"{there} mornings are left of who is there"
            erase(store, LEAVER.id, by="k-01", at=NOW)
    for file in folder.iterdir():
        content = file.read_bytes() if file.is_file() else b""
        if LEAVER.name.encode() in content or LEAVER.time_zone.encode() in content:
            yield f"{file.name} has bytes of who was erased"
    yield from unverified(db)


def _lay_old(folder: Path) -> None:
    """A database of the first version, and what becomes of it when nobody is killed."""
    shutil.copy(FOLDER / "m001_first_tables.db", _db(folder))


def _migrate(folder: Path) -> None:
    Store.open(_db(folder)).close()


def _wrong_after_migration(folder: Path) -> Iterator[str]:
    yield from _start(folder)
    with closing(sqlite3.connect(_db(folder))) as connection:
        applied = [name for (name,) in connection.execute("SELECT name FROM _sqlite_migrations")]
    if applied != [step.__name__ for step in MIGRATIONS]:
        yield f"applied were {applied}"
    if _records(_db(folder)) != _records(FOLDER / "m001_first_tables.db"):
        yield "the advice is not what it was"
    yield from _half_made(folder)


SCENES: Mapping[str, Scene] = {
    "backup": Scene(_lay_squad, _back_up, _wrong_after_backup),
    "restore": Scene(_lay_backup, _restore, _wrong_after_restore),
    "erasure": Scene(_lay_squad, _erase, _wrong_after_erasure),
    "migration": Scene(_lay_old, _migrate, _wrong_after_migration),
}


# ---- the killing


def _waiting(deed: Callable[[], object]) -> tuple[int, int]:
    """A process that does a deed once the other end of a pipe is closed: its id, and that end."""
    reading, writing = os.pipe()

    def do() -> None:
        os.close(writing)
        os.read(reading, 1)
        deed()

    pid = fork(do)
    os.close(reading)
    return pid, writing


def _traced(deed: Callable[[], object], *words: str) -> int:
    """How a deed ended beside which ``strace`` looks on, and does as it is told. Raises
    ``OSError`` where there is no strace, or it may not look on; then nothing was done."""
    strace = shutil.which("strace")
    if strace is None:
        raise FileNotFoundError("strace")
    pid, go = _waiting(deed)
    command = [strace, "-f", "-p", str(pid), *words]
    tracer = subprocess.Popen(command, stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True)
    assert tracer.stderr is not None
    with tracer, tracer.stderr:
        is_attached = "attached" in tracer.stderr.readline()
        if not is_attached:
            os.kill(pid, signal.SIGKILL)
        os.close(go)
        _, status = os.waitpid(pid, 0)
        tracer.stderr.read()
    if not is_attached:
        raise PermissionError("strace may not look on")
    return os.waitstatus_to_exitcode(status)


def calls_of(deed: Callable[[], object], report: Path) -> list[Place]:
    """The calls of a deed that nobody kills, in their order."""
    ended = _traced(deed, "-e", f"trace={WRITING}", "-o", str(report))
    assert ended == 0, f"it ended with {ended} though nobody killed it"
    counted: Counter[tuple[str, str]] = Counter()
    places: dict[Place, None] = {}
    for thread, call in CALL.findall(report.read_text(encoding="utf-8", errors="replace")):
        counted[thread, call] += 1
        places[call, counted[thread, call]] = None
    return list(places)


def killed_at_call(deed: Callable[[], object], place: Place) -> bool:
    """Whether a deed came to a call, and was killed there."""
    call, number = place
    inject = f"inject={call}:signal=KILL:when={number}"
    return _traced(deed, "-e", f"trace={call}", "-e", inject, "-o", "/dev/null") < 0


def killed_after(deed: Callable[[], object], seconds: float) -> bool:
    """Whether a deed was under way for so long, and was killed then."""
    pid, go = _waiting(deed)
    os.close(go)
    time.sleep(seconds)
    os.kill(pid, signal.SIGKILL)
    _, status = os.waitpid(pid, 0)
    return os.waitstatus_to_exitcode(status) < 0


@dataclass(frozen=True, slots=True)
class Found:
    """What came of killing a deed: at how many calls of how many, how often, and what was wrong."""

    of: str
    kills: int
    faults: Sequence[str]


def killed_again_and_again(scene: Scene, folder: Path, places: int | None, seed: int) -> Found:
    """Kill a deed at all or so many of its calls, and look after each kill."""
    before = folder / "before"
    before.mkdir()
    apart(partial(scene.lay, before))
    kills, faults = 0, []
    how, tries = _tries(scene, before, places, random.Random(seed))
    for name, kill in tries:
        there = Path(shutil.copytree(before, folder / "there"))
        kills += kill(partial(scene.do, there))
        faults += [f"{name}: {one}" for one in _wrong_with(scene, there)]
        shutil.rmtree(there)
    return Found(how, kills, faults)


def _wrong_with(scene: Scene, there: Path) -> list[str]:
    try:
        return apart(lambda: list(scene.wrong(there)))
    except RuntimeError as error:
        return [str(error)]


Kill = Callable[[Callable[[], object]], bool]


def _tries(
    scene: Scene, before: Path, places: int | None, chance: random.Random
) -> tuple[str, list[tuple[str, Kill]]]:
    """Each place or moment with its name, and how they were found."""
    there = Path(shutil.copytree(before, before.with_name("nobody-killed")))
    with suppress(OSError):
        calls = calls_of(partial(scene.do, there), before.with_name("calls"))
        kinds = Counter(call for call, _ in calls)
        chosen = calls if places is None else [*calls[:: max(1, len(calls) // places)]][:places]
        told = ", ".join(f"{many} {call}" for call, many in kinds.most_common())
        tries = [(f"{call} {number}", _at(call, number)) for call, number in chosen]
        return f"{len(calls)} calls ({told})", tries
    began = time.perf_counter()
    os.waitpid(fork(partial(scene.do, there)), 0)
    took = time.perf_counter() - began
    moments = [chance.uniform(0, took) for _ in range(places or 100)]
    return "random moments", [(f"after {one:.4f} s", partial(_after, one)) for one in moments]


def _at(call: str, number: int) -> Kill:
    return lambda deed: killed_at_call(deed, (call, number))


def _after(seconds: float, deed: Callable[[], object]) -> bool:
    return killed_after(deed, seconds)


def main() -> None:
    """Kill, look, and print what was found for each deed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("deeds", nargs="+", choices=SCENES)
    parser.add_argument("--places", type=int, help="how many of the calls; all if left out")
    parser.add_argument("--seed", type=int, default=1, help="of the moments, where they are random")
    chosen = parser.parse_args()
    read_ahead()
    faults = 0
    for deed in chosen.deeds:
        began = time.monotonic()
        with TemporaryDirectory() as folder:
            found = killed_again_and_again(SCENES[deed], Path(folder), chosen.places, chosen.seed)
        print("\n".join(found.faults))
        print(
            f"{deed}: killed {found.kills} times, at {found.of}: {len(found.faults)} faults "
            f"({time.monotonic() - began:.0f} s)",
            flush=True,
        )
        faults += len(found.faults)
    sys.exit(1 if faults else 0)


if __name__ == "__main__":
    main()
