"""Stores of every past revision, on both engines: upgraded with all that is in them, and the same answers."""

import json
import os
import sqlite3
from contextlib import closing

import pytest
from store.old_stores import (
    ANSWERS,
    SNAPSHOTS,
    answers,
    make_newest,
    server_store,
    sqlite_store,
    write_answers,
    write_dumps,
)

from matdb.api import Store
from matdb.bench.readings import RingDown
from matdb.store import Records, restore, revisions

OLD = [(revision, engine) for revision in revisions.REVISIONS for engine in ("sqlite", "postgresql")]


@pytest.fixture(scope="module", autouse=True)
def _dumps(server, tmp_path_factory):
    if os.environ.get("MATDB_WRITE_SNAPSHOTS"):
        folder = tmp_path_factory.mktemp("dumps")
        make_newest(folder / "newest.sqlite")
        write_dumps(revisions.HEAD, str(folder / "newest.sqlite"), server, folder)
        write_answers(folder / "newest.sqlite")


@pytest.fixture(params=OLD, ids=lambda pair: "-".join(pair))
def old(request, server, tmp_path):
    """The address of an old store, its revision, and one of a new, empty store on the same engine."""
    revision, engine = request.param
    if engine == "sqlite":
        return sqlite_store(revision, tmp_path / "old.sqlite"), revision, tmp_path / "again.sqlite"
    return server.url(server_store(revision, server)), revision, server.url(server.database())


@pytest.mark.slow
def test_an_old_store_answers_the_same_numbers(old):
    where, revision, again = old
    recorded = json.loads(ANSWERS.read_text(encoding="utf-8"))
    with Records(where) as records:
        done = records.upgraded
        assert (done is None) == (revision == revisions.HEAD)
        assert records.check() == []
        assert records.counts() == {
            "materials": 1, "parts": 2, "readings": 4, "retired readings": 1, "fits": 1, "mountings": 1,
        }  # fmt: skip
        assert records.reading(1).retired_why == "corrected: digits swapped"
        assert records.reading(4).corrects_id == 1
        assert not records.is_stale(records.newest_fit("amber"))
    told = answers(where)
    assert told.keys() == recorded.keys()
    for state, numbers in recorded.items():
        # A later program may draw the model's misfit otherwise, which moves medians over 100 draws by a per cent; a
        # store that lost or mixed up something would be off by tens.
        assert told[state] == pytest.approx(numbers, rel=0.04), state
    with Store(Records(where)) as store:
        assert store.add(RingDown(part="ring", temperature_c=1, mass_kg=1, frequency_hz=60)) == 5
        assert store.publish() > 0
    if done is not None:
        restore(done.copy, again)
        assert answers(again) == told
        with closing(sqlite3.connect(done.copy)) as copy:
            assert copy.execute("SELECT version_num FROM alembic_version").fetchone() == (revision,)


@pytest.mark.slow
def test_every_engine_and_revision_answers_exactly_alike(server, tmp_path):
    told = [answers(sqlite_store(r, tmp_path / f"{r}.sqlite")) for r in revisions.REVISIONS]
    told += [answers(server.url(server_store(r, server))) for r in revisions.REVISIONS]
    assert all(each == told[0] for each in told)


def test_every_revision_has_its_dumps():
    for revision in revisions.REVISIONS:
        for ending in ("schema.sql", "store.sql", "fitted.sql", "fitted.postgresql.sql"):
            assert (SNAPSHOTS / f"{revision}.{ending}").is_file(), (revision, ending)
