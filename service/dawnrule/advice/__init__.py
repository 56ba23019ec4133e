"""From a decision to words a person can act on, and the pipeline from check-in to advice."""
