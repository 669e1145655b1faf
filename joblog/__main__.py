"""``python -m joblog`` is the same as ``joblog``."""

import sys

from joblog.cli import main

sys.exit(main())
