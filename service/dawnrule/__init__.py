"""Morning advice for athletes: train as planned, swap to low-damage work, or rest.

The packages in reading order; each imports only from those below it.

- ``web``, ``cli``, ``demo``: HTTP, the command line, and an invented squad.
- ``application``: use cases, each in one transaction; start with ``application.check_ins``.
- ``analytics``: archive, replays, scorecards and timelines of past mornings.
- ``sheet``, ``schemas``: spreadsheets and JSON, in and out.
- ``store``: the database; it knows nothing of rules.
- ``advice``: from a decision to words that a person can act on (pure).
- ``rules``: rule sets as data, the engine that decides, the evaluator that explains (pure).
- ``facts``: what a check-in and the history before it say (pure).
- ``model``, ``i18n``: entities, vocabulary and texts that all of these share.
"""

__version__ = "0.1.0"
