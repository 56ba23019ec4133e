"""A squad of our own invention, and a morning with it on a real server.

- ``squad``: who they are and how their weeks look (``squad.yaml``).
- ``diary``: what they have reported and done until this morning.
- ``stage``: a throw-away service with all of that in it.
"""
