"""Own recovery: how long the soreness of a muscle group lasts after work that damages (pure).

Read ``episodes`` (what the log and the check-ins say), ``model`` (the mathematics), ``forecast``
(when a muscle group is likely ready again).
"""
