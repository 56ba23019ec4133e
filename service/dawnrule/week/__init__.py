"""Weeks that the rules let through: a solver proposes, the rules decide (pure).

Read ``request`` (what is wanted), ``judge`` (what the rules say of a week), ``proposal`` (what the
solver tries), ``planner`` (how the two come together) and ``explanation`` (what could not be
placed, and why).
"""
