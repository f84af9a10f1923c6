"""The map page: one HTML file, its parts, and the seal that keeps it from fetching anything."""
