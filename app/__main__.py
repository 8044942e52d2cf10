"""``python -m app`` is the same as ``countersight``."""

import sys

from app.cli import main

sys.exit(main())
