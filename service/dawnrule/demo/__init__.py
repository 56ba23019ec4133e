"""An invented squad, and a real server with its morning.

Reading order:

- ``squad``: the athletes, from ``squad.yaml``, and the diaries of their last weeks.
- ``stage``: START HERE: a temporary service with those diaries and this morning's advice.
"""
