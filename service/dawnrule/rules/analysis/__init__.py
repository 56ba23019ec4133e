"""Analysis."""
