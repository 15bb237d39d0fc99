"""``python -m backing`` is the ``backing`` command."""

import sys

from backing.cli import main

if __name__ == "__main__":
    sys.exit(main())
