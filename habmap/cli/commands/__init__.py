"""One module per command, each with ``register(app)``; heavy libraries are imported inside the command itself."""
