"""Evaluation: the decision on a morning, made by two evaluations that must agree.

Reading order:

- ``evaluator``: the meaning of each test and group, and traces that explain them.
- ``decision``: from the rules that fired to a verdict.
- ``decider``: a compiled rule set that decides by the engine and by the evaluator.
"""
