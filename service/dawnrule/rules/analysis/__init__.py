"""Analysis: checks, proofs and differences of rule sets.

Reading order:

- ``check``: everything that can be found wrong with a rule set.
- ``boundary_coverage``: thresholds that no example shows.
- ``partition``: the few values of a fact that represent all of them.
- ``solver``, ``proofs``: proofs over every possible morning; ``solver`` is the only module that
  imports z3.
- ``safety``: the proof that warning signs always mean rest.
- ``permissiveness``, ``applicability``: proofs about limits, concerns and versions, and the rule
  sets that need them.
- ``findings``: severity and remedy of each kind of finding; JSON and SARIF.
- ``diff``: the difference of two rule sets, in their files and in what they decide.
- ``sandbox``: check and difference in a process of their own.
"""
