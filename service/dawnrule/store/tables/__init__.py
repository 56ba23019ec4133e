"""Tables: one module each, with its schema, triggers, indexes and queries."""
