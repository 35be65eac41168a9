"""The command ``matdb``."""

from __future__ import annotations

import signal
import sys
from typing import Any


def main() -> int:
    """Run the command line; Ctrl-C ends it without a traceback, also while it is loaded and while it ends."""
    plain = signal.getsignal(signal.SIGINT) is signal.default_int_handler
    if plain:
        signal.signal(signal.SIGINT, signal.SIG_DFL)
        # One that falls into what Python calls by itself is not heard; it needs no traceback for that.
        sys.unraisablehook = _quiet
    from matdb.cli.run import run

    try:
        if plain:
            signal.signal(signal.SIGINT, signal.default_int_handler)
        return run()
    except KeyboardInterrupt:  # outside of what run() watches over
        return 130
    finally:
        if plain:
            signal.signal(signal.SIGINT, signal.SIG_DFL)


def _quiet(found: Any) -> None:
    if not isinstance(found.exc_value, KeyboardInterrupt):
        sys.__unraisablehook__(found)


if __name__ == "__main__":
    raise SystemExit(main())
