"""``python -m pathgen``."""

import sys

from pathgen.cli import main

sys.exit(main())
