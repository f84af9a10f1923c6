"""The commands of ``habmap add``, one module per subject; `habmap.cli.commands.add` hangs them on the app."""
