"""What can be typed at a terminal, and which calls does it become?

- ``program``: the command ``dawnrule``, and how its errors are told.
- one module for each command or group of commands: ``demo``, ``advise``, ``serve``, ``rules``,
  ``past_rules`` (those of ``rules`` that look at stored mornings), ``replay``, ``keys``,
  ``audit``, ``athletes``, ``retention``, ``backup`` (with restore), ``openapi``.
- ``check_in_file``, ``offline``: from a file of check-ins to the advice on them.
- ``shown``: advice and refusals as a person reads them.

Exit codes: 0; 1 when something was found (a row refused, a rule at fault); 2 for wrong use.
"""

from dawnrule.cli.main import main

__all__ = ["main"]
