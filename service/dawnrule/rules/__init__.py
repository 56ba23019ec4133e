"""Rule sets as data: loaded from YAML, decided by an engine, explained by an evaluator (pure).

Reading order:

- ``conditions``, ``rule_set``: the language of conditions; rules, rule sets and extensions.
- ``loading``: from a YAML file to a rule set, with every fault named by its line.
- ``evaluation``: the decision, made twice: ``decider`` compares the engine with ``evaluator``,
  which also explains; ``decision`` derives the verdict from the rules that fired.
- ``engine``: the first of the two evaluations, by durable-rules.
- ``counterfactuals``: which other facts, or which later time, would give a freer verdict.
- ``text``: rules, conditions and values in words.
- ``analysis``: checks and proofs of a rule set, the difference of two, the sandbox.
- ``columnar``: the same decisions for whole histories at once, by polars.
- ``registry``, ``serialization``: the rule sets that there are, and their JSON form.

``analysis.solver`` imports z3, which is large, so its users import it inside the functions that
need a proof.
"""
