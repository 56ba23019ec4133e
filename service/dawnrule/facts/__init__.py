"""Derivation of facts from check-ins, sessions and history (pure).

- ``derive``: START HERE: a check-in and its history become the facts of a day and of its parts.
- ``history``: past check-ins and the training log, with the reasons why data do not suffice.
- ``recovery``, ``training_load``, ``last_trained``, ``pain``, ``carried_over``: one theme each.
- ``load_formulas``: published formulas over plain numbers.
- ``plausibility``: values that cannot be true.
"""
