"""Dawnrule answers one question each morning: is what is planned today worth doing today?

The modules in reading order:

- ``advice.morning``: the straight line, check-in in, advice out.
- ``facts``: what one check-in and the history before it say (pure).
- ``rules``: rule sets as data, the engine that decides, the evaluator that explains (pure).
- ``advice``: from a decision to words a person can act on (pure).
- ``vocabulary``: the words and facts that all of these share, read from ``rules/``.
- ``store``: the one door to the database; it knows nothing of rules.
- ``web`` and ``cli``: translate HTTP and the command line into calls of the above.

Dependencies run one way: web and cli to advice, advice to rules and facts, those to vocabulary.
"""

__version__ = "0.1.0"
