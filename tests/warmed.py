"""What the process that ``warm.py`` forks from imports: by then all is read."""

from tests.warm import read_ahead

read_ahead()
