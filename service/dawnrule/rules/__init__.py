"""Rule sets as data: read, decided by the engine, explained by the evaluator (pure).

The modules in reading order:

- ``rule_set``, ``conditions``: what a rule is, and what it can ask of the facts.
- ``loading``, with ``yaml_source``, ``shape``, ``condition_source`` and ``template``: from a file
  to a rule set; ``extension`` and ``extension_source`` write one out that extends another.
- ``decider``: the decision, made twice. ``matcher``, with ``ways``, ``engine_text`` and
  ``engine_limits``, is the engine; ``evaluator`` is ours, and explains; ``decision`` is what
  follows from the rules that fired.
- ``what_if``, ``changes``, ``opening``: what would have to be different for another verdict.
- ``columns``: the same decision, down whole columns.
- ``checking``: what is wrong with a rule set. ``edges`` looks at its examples; ``proofs``, with
  ``cells`` and ``solver``, considers every morning that can be; ``findings`` says how bad each kind
  is, ``sarif`` tells a code host.
- ``difference``: how two rule sets differ.
- ``library``, ``plain``, ``wording``, ``prose``: which there are, and how they are told.

``solver`` imports z3, which is large: who needs it, through ``proof_findings`` or ``difference``,
imports it when it is asked, not before.
"""
