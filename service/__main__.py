"""``python -m service``."""

import sys

from service.cli.main import main

if __name__ == "__main__":
    sys.exit(main())
