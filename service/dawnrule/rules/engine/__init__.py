"""The engine: rules matched by durable-rules, the first of the two evaluations.

Reading order:

- ``matcher``: compiled rules; the only module that imports durable-rules.
- ``dnf``: conditions in disjunctive normal form.
- ``encoding``: facts and tests in the engine's own text.
- ``limits``: what the engine can hold, and how rules are divided accordingly.
"""
