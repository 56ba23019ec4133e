"""Derivation of facts from check-ins, sessions and history (pure).

- ``derive``: START HERE: a check-in and its history become the facts of a day and of its parts.
- ``history``: past check-ins and the training log, with the reasons why a fact cannot be derived.
- ``recovery``, ``soreness``, ``illness``, ``performance``: the body; ``pain``, ``suspicion``,
  ``carried_over`` and ``concerns``: what must not be overlooked.
- ``prescription``, ``day_order``, ``damage``, ``work``, ``last_trained``, ``landing``,
  ``training_load``, ``breaks``: the plan and the log; ``circumstances``: calendar, journey, heat.
- ``load_formulas``: published formulas over plain numbers.
- ``plausibility``: values that cannot be true.
"""
