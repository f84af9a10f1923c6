"""The burn sheet: its records, its map and chart, PDF and HTML."""
