"""``python -m rework``."""

import sys

from rework.cli import main

sys.exit(main())
