"""The command ``matdb``."""

from __future__ import annotations

import signal


def main() -> int:
    """Run the command line; Ctrl-C ends it without a traceback, also while it is loaded and while it ends."""
    plain = signal.getsignal(signal.SIGINT) is signal.default_int_handler
    if plain:
        signal.signal(signal.SIGINT, signal.SIG_DFL)
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


if __name__ == "__main__":
    raise SystemExit(main())
