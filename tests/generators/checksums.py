"""Checksums of the shipped data; ``python -m tests.generators.checksums`` writes them anew, after a change."""

from __future__ import annotations

from matdb.shipped import CHECKSUMS, data_checksums, data_folder

__all__ = ["checksums_text", "write_checksums"]


def checksums_text() -> str:
    """The list of checksums as it must stand in the shipped data."""
    return "".join(f"{value}  {name}\n" for name, value in data_checksums().items())


def write_checksums() -> None:
    """Write the list into the shipped data."""
    (data_folder() / CHECKSUMS).write_text(checksums_text(), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    write_checksums()
