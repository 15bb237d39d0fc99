"""``python -m backing`` is the ``backing`` command."""

from backing.cli import run

if __name__ == "__main__":
    run()
