"""Questions about past mornings; nothing here gives advice.

- ``archive``: facts of past mornings in columns, a cache of the ledger.
- ``replay``, ``replay_jobs``: past mornings under another rule set, and jobs that run it.
- ``scorecard``: how often each rule fired, and what happened afterwards.
- ``cross_check``: the column decider against the engine.
- ``timeline``, ``squad``: an athlete's last weeks, and the squad's morning.
"""
