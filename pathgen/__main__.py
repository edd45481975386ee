"""``python -m pathgen``."""

import sys


def main() -> int:
    """Run a command; one that is stopped while all is still being loaded ends without a word of where."""
    try:
        from pathgen.app.cli import main as run

        return run()
    except KeyboardInterrupt:
        sys.stderr.write("pathgen: stopped\n")
        return 2


if __name__ == "__main__":
    sys.exit(main())
