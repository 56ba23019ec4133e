"""The command ``dawnrule``: words at a terminal become calls of the application.

Reading order:

- ``main``: START HERE: the command, and errors as messages with an exit code.
- ``lazy``: a group that reads only the command that is typed.
- ``options``: options that several commands share, rule sets by name, progress bars.
- ``tables``: advice and errors as text for a terminal.
- ``demo``, ``serve`` (with ``openapi``), ``advise``, ``outlook``: advice for a morning.
- ``rules``, ``publishing``, ``statistics``, ``replay``: rule sets and the mornings they decided.
- ``athletes``, ``concerns``, ``keys``, ``private_addresses``: the squad, and who may see what.
- ``audit``, ``maintenance``: the record, and copies and deletion of data.

Exit codes: 0; 1 when something was found (a rejected row, a faulty rule); 2 for wrong use.
"""

from dawnrule.cli.main import main

__all__ = ["main"]
