"""Analytics."""
