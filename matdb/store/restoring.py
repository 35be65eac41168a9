"""A store made from another: copied with verification between engines, or restored from a backup."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from matdb.errors import NotAStore, StoreError
from matdb.files import whole_file
from matdb.store.backups import unused_file, vacuum_into
from matdb.store.location import locate
from matdb.store.records import Records
from matdb.store.schema import revision_of


def copy_store(source: Records, target: Records) -> dict[str, int]:
    """Copy everything from one store into another, empty one; SQLite and PostgreSQL in any pairing.

    The copy is one transaction and is read back and compared before it is kept: every value of every row.
    Numbers of readings and fits stay what they were.

    Parameters
    ----------
    source, target : Records
        Both open; the target holds nothing yet.

    Returns
    -------
    dict of str to int
        Rows copied, by table.

    Raises
    ------
    StoreError
        The target is not empty, or what it gives back differs.

    """
    from matdb.store.models import Base
    from matdb.store.tables import copy_tables

    with source._reader.snapshot(), target._change() as writer:
        return copy_tables(source._reader, writer.connection, Base.metadata.sorted_tables, target.place.shown)


def restore(backup_file: str | os.PathLike[str], where: str | os.PathLike[str] | None) -> None:
    """Make a store from a backup: a new file, or an empty database on a server.

    A backup of an older schema is upgraded on the way; the backup itself is not touched.

    Raises
    ------
    StoreError
        The target exists, or the backup is damaged.
    NotAStore, NewerStore
        The backup is not one that this program can read.

    """
    source, place = locate(backup_file), locate(where)
    if revision_of(source) is None:
        raise NotAStore(source.shown, "is empty; name another backup")
    target = None if place.path is None else unused_file(place.path)
    folder = None if target is None else target.parent
    made = None
    try:
        with tempfile.TemporaryDirectory(dir=folder, prefix=".matdb-restore-") as made:
            copy = Path(made) / "store.sqlite"
            vacuum_into(source, copy)
            with Records(copy) as restored:
                errors = [finding for finding in restored.check() if finding.level == "error"]
                if errors:
                    raise StoreError(source.shown, f"this backup is damaged ({errors[0].what}: {errors[0].says})")
                if target is None:
                    with Records(where) as server:
                        copy_store(restored, server)
            if target is not None:
                copy.chmod(source.rights or 0o600)
                with whole_file(target) as part:
                    copy.replace(part)
    except StoreError as error:
        # The user named the target, not the temporary files.
        if made is not None and error.where.startswith(made):
            raise type(error)(place.shown, error.why) from None
        raise
    except OSError as error:
        raise StoreError(place.shown, f"cannot be written ({error.strerror}); name another store") from None
