"""Message catalogues, lazily translated text and the paths of bundled data."""
