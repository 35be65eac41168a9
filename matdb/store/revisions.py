"""The schema revisions this program knows, oldest first; a test holds them against the migration scripts."""

from __future__ import annotations

__all__ = ["APPLICATION_ID", "HEAD", "PUBLISHED", "REVISIONS"]

REVISIONS: tuple[str, ...] = ("0001", "0002", "0003")
HEAD = REVISIONS[-1]

#: What ``PRAGMA application_id`` answers on a matdb store: the bytes "matd".
APPLICATION_ID = 0x6D617464

#: Views that the store publishes for other tools; every other view in a store was not made by matdb.
PUBLISHED = (
    "published_material",
    "published_part",
    "published_reading",
    "published_stiffness",
    "published_stiffness_step",
)
