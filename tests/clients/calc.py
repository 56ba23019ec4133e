"""LibreOffice Calc, used as a person would, with a profile of its own and a time limit."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from uuid import uuid4

from tests.clients.conftest import CLIENTS, environment

MACRO = CLIENTS / "spreadsheet" / "dawnrule_macro.py"
STEPS = Path(__file__).with_name("calc_steps.py")
PYTHON_WITH_UNO = "/usr/bin/python3"
PATIENCE_SECONDS = 180
DOTS_PER_INCH = 96

SETTINGS = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry"
 xmlns:xs="http://www.w3.org/2001/XMLSchema" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance">
<item oor:path="/org.openoffice.Office.Common/Security/Scripting">
<prop oor:name="SecureURL" oor:op="fuse"><value><it>{trusted}</it></value></prop></item>
<item oor:path="/org.openoffice.Office.Calc/Content/Update">
<prop oor:name="Link" oor:op="fuse"><value>0</value></prop></item>
</oor:items>
"""
"""What a person sets under Security, trusted locations: formulas in files there may ask."""


@dataclass(frozen=True)
class Calc:
    """A running Calc. Files in ``folder`` are trusted; ``user`` is the person's own folder."""

    folder: Path
    user: Path
    pipe: str

    def do(self, *steps: Any) -> list[Any]:
        """Return the result of each step of ``calc_steps.py``. Raises
        ``subprocess.SubprocessError``."""
        done = subprocess.run(
            [PYTHON_WITH_UNO, STEPS, self.pipe, json.dumps(steps)],
            check=True,
            stdout=subprocess.PIPE,
            timeout=PATIENCE_SECONDS,
            env=of_the_desktop(),
        )
        given: list[Any] = json.loads(done.stdout)
        return given

    def draw(self, file: Path, sheet: str, columns: Sequence[str], picture: Path) -> None:
        """Draw a picture (.png) of some columns of a sheet, as they are printed."""
        page = picture.with_suffix(".pdf")
        self.do(["load", str(file)], ["print_page", sheet, list(columns), str(page)])
        command = ["pdftoppm", "-png", "-singlefile", "-r", str(DOTS_PER_INCH)]
        command += [str(page), str(picture.with_suffix(""))]
        subprocess.run(command, check=True, timeout=PATIENCE_SECONDS)
        page.unlink()

    @property
    def key_file(self) -> Path:
        """The file that says where the service is."""
        return self.user / "dawnrule.ini"

    def keep_key(self, address: str, key: str) -> None:
        """Write that file."""
        self.key_file.write_text(key_of(address, key), encoding="utf-8")


def key_of(address: str, key: str) -> str:
    """What the file with the address and the key holds."""
    return f"[dawnrule]\naddress = {address}\nkey = {key}\n"


def of_the_desktop() -> Mapping[str, str]:
    """The environment in which a person starts Calc, even if a virtual environment is active here:
    the Python in LibreOffice takes its library from beside the first ``python3`` on PATH, and with
    another than its own each macro ends with ``std::bad_alloc``."""
    folders = [str(Path(PYTHON_WITH_UNO).parent), os.environ.get("PATH", os.defpath)]
    return environment(PATH=os.pathsep.join(folders))


@contextmanager
def running_calc(folder: Path) -> Iterator[Calc]:
    """Calc without a screen, with the macro installed; it is ended whatever happens."""
    user, trusted = folder / "profile" / "user", folder / "sheets"
    (user / "Scripts" / "python").mkdir(parents=True)
    trusted.mkdir()
    shutil.copy(MACRO, user / "Scripts" / "python")
    (user / "registrymodifications.xcu").write_text(SETTINGS.format(trusted=trusted.as_uri()))
    pipe = f"dawnrule-{uuid4().hex}"
    options = ["--headless", "--norestore", "--nologo", f"--accept=pipe,name={pipe};urp;"]
    process = subprocess.Popen(
        ["soffice", f"-env:UserInstallation={user.parent.as_uri()}", *options],
        env=of_the_desktop(),
        start_new_session=True,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        yield Calc(trusted, user, pipe)
    finally:
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()
