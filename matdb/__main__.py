"""The command ``matdb``."""

from __future__ import annotations

import sys


def main() -> int:
    """Run the command line; ``--version`` is answered before anything heavy loads."""
    if sys.argv[1:] in (["--version"], ["-V"]):
        from matdb.version import VERSION

        print(f"matdb {VERSION}")
        return 0
    from matdb.cli.run import run

    return run()


if __name__ == "__main__":
    raise SystemExit(main())
