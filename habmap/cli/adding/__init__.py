"""The commands of ``habmap load``, one module per subject; `habmap.cli.commands.add` hangs them on the app."""
