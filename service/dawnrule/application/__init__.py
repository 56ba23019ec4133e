"""Use cases, one module per subject; web, command line and demo call these.

Reading order:

- ``check_ins``: START HERE: submit a check-in, decide and record advice.
- ``batches``: many check-ins or sessions at once, and what became of each row.
- ``sessions``, ``plans``, ``athletes``: the training log, the coach's plans, the squad.
- ``active_rules``, ``rule_sets``: which rule set decides, and how one is published.
- ``read_advice``, ``outlooks``: stored advice in the reader's language, and what lies ahead.
- ``private_addresses``: addresses for phones and calendars.
- ``audit``, ``backups``, ``retention``: verify, copy and delete what is stored.
"""
