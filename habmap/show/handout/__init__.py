"""The four pages for a meeting without a screen."""
