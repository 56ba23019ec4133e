"""Loading."""
