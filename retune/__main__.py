"""`python -m retune`: the same as the command `retune`."""

import sys

from retune.cli.start import main

sys.exit(main())
