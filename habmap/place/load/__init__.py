"""A person's tables: one engine for all of them, and for each a short spec of its columns and its own rules."""
