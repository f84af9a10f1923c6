"""What ``add`` loads, one module per kind of file."""
