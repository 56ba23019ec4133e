"""The interface for programs, one module per resource.

- ``check_ins`` and ``batch`` (with ``batch_rows``): check-ins in, advice out.
- ``sessions``, ``plans``, ``athletes``, ``concerns``: what else is known of athletes.
- ``advice``: advice, its explanation, and the outlook; ``mornings``: the squad at a glance;
  ``drifts``: who drifts;
  ``done``: what was done beside the advice;
  ``evaluations``: the same without storing.
- ``rule_sets`` and ``replays``: which rules decide, and what others would decide.
- ``private_addresses``, ``ledger``, ``operations``: links, proofs, health and metrics.

The docstrings of the views are the descriptions in openapi.yaml.
"""
