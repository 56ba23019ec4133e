"""From a decision to words a person can act on, and the straight line from check-in to advice."""
