"""``python -m pathgen``."""

import sys

from pathgen.app.cli import main

sys.exit(main())
