"""The map sheet for the wall, and what other printed sheets share with it."""
