"""`python -m retune` is the command `retune`."""

import sys

from retune.cli.main import main

if __name__ == "__main__":
    sys.exit(main())
