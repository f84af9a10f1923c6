"""The commands of ``habmap load``, one module per subject; `habmap.cli.commands.load` hangs them on the app."""
