"""Rule sets as data: loaded from YAML, decided by an engine, explained by an evaluator (pure).

Reading order:

- ``conditions``, ``limits``, ``rule_set``: the language of conditions; how much of a plan may be
  done; rules, rule sets and extensions.
- ``loading``: from a YAML file to a rule set, with every fault named by its line.
- ``returns``: staged returns after a break, an illness or an injury.
- ``evaluation``: the decision, made twice: ``decider`` compares the engine with ``evaluator``,
  which also explains; ``decision`` derives the verdict from the rules that fired.
- ``engine``: the first of the two evaluations, by durable-rules.
- ``counterfactuals``: which other facts, or which later time, would give a more permissive verdict.
- ``text``: rules, conditions and values in words.
- ``analysis``: checks and proofs of a rule set, the difference of two, the sandbox.
- ``columnar``: the same decisions for whole histories at once, by polars.
- ``registry``, ``serialization``: the known rule sets with their compiled form; their JSON form.

``analysis.solver`` imports z3, which is large, so its users import it inside the functions that
need a proof.
"""
