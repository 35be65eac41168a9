"""The schema revisions this program knows, oldest first; a test holds them against the migration scripts."""

from __future__ import annotations

REVISIONS: tuple[str, ...] = ("0001", "0002", "0003", "0004", "0005", "0006", "0007")
HEAD = REVISIONS[-1]

#: The mark of the schema that each of them makes in a file, as :mod:`matdb.store.schema` takes it.
SCHEMAS: dict[str, str] = {
    "0001": "c975d61c00f6722828df0e106d55b4431060bb98734c0cc00c1b152ba0b313b1",
    "0002": "364baa5151d3a7f739db7f949adc1e4c065a7d9f28fbe12d68c532782258d382",
    "0003": "7ab132b4efeb2d38fd13cf41fe0cc756830ed3cd5323c77f51e9f106be7d7d56",
    "0004": "91c55084192ead64b29ca181f8654f68f6c8febba3fbd7407126e9334662fb16",
    "0005": "d62cab334d68449f88eb5ca54eb9329b58a4b84f714b4079024cfa787b94092a",
    "0006": "013fb1c6f85cb855cea8930fb7f0ded03edd63fbc9c0595fcb9caac5a84e0f87",
    "0007": "8a3eb706ce0154ebfd0317b4badc59661b305669a8dad50da7024e2405f53458",
}

#: What ``PRAGMA application_id`` answers on a matdb store: the bytes "matd".
APPLICATION_ID = 0x6D617464

#: Views that the store publishes for other tools.
PUBLISHED = tuple(
    f"published_{what}" for what in ("material", "part", "reading", "stiffness", "stiffness_step", "squeeze")
)
