"""``dawnrule`` as a process of its own that starts in a moment.

To import the service and to read its rule sets takes three seconds of a processor, and tests start
dozens of processes. Here all fork from one that has done so. That a fresh Python starts the service
too is tested in ``cli/test_serve.py`` and ``packaging/``, and the sandbox in
``rules/test_sandbox.py``.
"""

from __future__ import annotations

import os
import re
import signal
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from multiprocessing import get_context
from multiprocessing.context import ForkServerProcess
from pathlib import Path
from subprocess import CompletedProcess, TimeoutExpired
from tempfile import TemporaryDirectory

from dawnrule.rules.analysis import sandbox
from dawnrule.rules.registry import RuleSetLibrary

_FORKS = get_context("forkserver")
_FORKS.set_forkserver_preload(["tests.warmed"])


def read_ahead() -> None:
    """Import and read what a process of the service would. Makes no rule engine and no thread, so
    that the process can fork afterwards."""
    import dawnrule.cli.demo
    import dawnrule.cli.serve

    assert dawnrule.cli.demo
    assert dawnrule.cli.serve
    RuleSetLibrary.bundled().all()


class Forked:
    """A process that was forked, with the names that ``subprocess.Popen`` has."""

    def __init__(self, job: Callable[..., object], *about: object) -> None:
        self._process: ForkServerProcess = _FORKS.Process(target=job, args=about, daemon=True)
        self._process.start()
        assert self._process.pid is not None
        self.pid = self._process.pid

    def send_signal(self, how: signal.Signals) -> None:
        if self.poll() is None:
            os.kill(self.pid, how)

    def kill(self) -> None:
        self.send_signal(signal.SIGKILL)

    def poll(self) -> int | None:
        """Its exit code, or the number of the signal that ended it, less than 0."""
        return self._process.exitcode

    def wait(self, seconds: float | None = None) -> int:
        """Raises ``TimeoutError``."""
        self._process.join(seconds)
        code = self.poll()
        if code is None:
            raise TimeoutError(f"process {self.pid} has not ended within {seconds} s")
        return code


def typed_apart(words: list[str], log: Path, variables: Mapping[str, str]) -> Forked:
    """Start ``dawnrule`` with these words and variables; what it says is added to a file."""
    return Forked(_type, words, log, dict(variables))


@contextmanager
def serving(db: Path, **variables: str) -> Iterator[tuple[Forked, str, Path]]:
    """``dawnrule serve`` on a free port: its process, its address, and the file beside the
    database that it logs to."""
    log = db.with_name(f"log-{len([*db.parent.glob('log-*')])}")
    service = typed_apart(["serve", "--db", str(db), "--port", "0"], log, variables)
    try:
        yield service, _announced(log, service), log
    finally:
        service.kill()
        service.wait()


def tried(question: str, seconds_at_most: float) -> CompletedProcess[str]:
    """Answer a question in the sandbox, as ``subprocess.run`` would. Raises ``TimeoutExpired``."""
    with TemporaryDirectory() as folder:
        asked, answer, said = (Path(folder, name) for name in ("asked", "answer", "said"))
        asked.write_text(question, encoding="utf-8")
        process = Forked(_try, asked, answer, said)
        try:
            status = process.wait(seconds_at_most)
        except TimeoutError as error:
            process.kill()
            process.wait()
            raise TimeoutExpired(sandbox.SANDBOX_COMMAND, seconds_at_most) from error
        told = (file.read_text(encoding="utf-8") for file in (answer, said))
        return CompletedProcess(sandbox.SANDBOX_COMMAND, status, *told)


def _announced(log: Path, service: Forked) -> str:
    """The address in a log, once it is there."""
    while True:
        has_ended = service.poll() is not None
        said = log.read_text(encoding="utf-8") if log.exists() else ""
        if found := re.search(r"Serving (http://\S+)", said):
            return found[1]
        assert not has_ended, said
        time.sleep(0.02)


def _type(words: list[str], log: Path, variables: Mapping[str, str]) -> None:
    from dawnrule.cli import main

    with log.open("ab") as said:
        for stream in (1, 2):
            os.dup2(said.fileno(), stream)
    os.environ.clear()
    os.environ.update(variables)
    main(words, prog_name="dawnrule")


def _try(asked: Path, answer: Path, said: Path) -> None:
    with (
        asked.open(encoding="utf-8") as sys.stdin,
        answer.open("w", encoding="utf-8") as sys.stdout,
        said.open("w", encoding="utf-8") as sys.stderr,
    ):
        os.dup2(sys.stderr.fileno(), 2)
        sandbox.main()
