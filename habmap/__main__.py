"""``python -m habmap``: the same as the command."""

from habmap.cli.main import run

if __name__ == "__main__":
    run()
