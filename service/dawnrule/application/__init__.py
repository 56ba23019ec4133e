"""Application."""
