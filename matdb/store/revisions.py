"""The schema revisions this program knows, oldest first; a test holds them against the migration scripts."""

from __future__ import annotations

__all__ = ["APPLICATION_ID", "HEAD", "REVISIONS"]

REVISIONS: tuple[str, ...] = ("0001",)
HEAD = REVISIONS[-1]

#: What ``PRAGMA application_id`` answers on a matdb store: the bytes "matd".
APPLICATION_ID = 0x6D617464
