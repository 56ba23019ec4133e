"""``python -m dawnrule`` is the command ``dawnrule``."""

from dawnrule.cli import main

main()
