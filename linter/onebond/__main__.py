"""``python -m onebond``: the command line, without the current folder on the import path.

The current folder may be a stranger's checkout, and nothing in it may be imported; so this comes before other imports.
"""

import sys

if not sys.flags.safe_path:
    del sys.path[0]

from onebond.cli import main

if __name__ == "__main__":
    sys.exit(main())
