"""The command ``matdb``."""

from __future__ import annotations

from matdb.cli.run import run


def main() -> int:
    """Run the command line."""
    return run()


if __name__ == "__main__":
    raise SystemExit(main())
