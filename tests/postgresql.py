"""A PostgreSQL server of the tests' own: the distribution's programs, a folder under the temporary one, a socket there."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
import time
from itertools import count
from pathlib import Path

import psycopg

from tests.project.source import ROOT


def programs() -> Path:
    """The folder of PostgreSQL's programs, installed if need be; an error says what to do where there is none."""
    done = subprocess.run(
        ["sh", str(ROOT / "packaging" / "postgresql.sh")], capture_output=True, text=True, check=False, timeout=300
    )
    assert done.returncode == 0, done.stderr[-400:]
    return Path(done.stdout.strip())


class Server:
    """One server, its databases, and its end. It refuses the superuser of the system, so it runs as another user."""

    def __init__(self) -> None:
        self._bin = programs()
        self.folder = Path(tempfile.mkdtemp(prefix="forestay-pg-"))
        self._as = ["runuser", "-u", "postgres", "--"] if os.getuid() == 0 else []
        if self._as:
            shutil.chown(self.folder, "postgres")
        self._numbers = count(1)
        self._run(
            "initdb",
            "-D",
            str(self.data),
            "-U",
            "forestay",
            "-A",
            "trust",
            "-E",
            "UTF8",
            "--no-sync",
            "--wal-segsize=1",
        )
        self.start()

    @property
    def data(self) -> Path:
        """The server's own files."""
        return self.folder / "data"

    def _run(self, program: str, *arguments: str) -> None:
        done = subprocess.run(
            [*self._as, str(self._bin / program), *arguments],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
            timeout=60,
            cwd="/",
        )
        assert done.returncode == 0, done.stderr

    def start(self) -> None:
        """Start, and wait until it answers."""
        settings = f"-c listen_addresses='' -c unix_socket_directories='{self.folder}' -c max_connections=120 -c max_wal_size=64MB"
        log = str(self.folder / "log")
        self._run("pg_ctl", "-D", str(self.data), "-w", "-l", log, "-o", settings, "start")

    def stop(self, mode: str = "fast") -> None:
        """End it; ``immediate`` is as a power cut for it."""
        self._run("pg_ctl", "-D", str(self.data), "-w", "-m", mode, "stop")

    def database(self) -> str:
        """The address of a new empty schema, which serves as a database of its own."""
        schema = f"cases{next(self._numbers)}"
        with psycopg.connect(host=str(self.folder), user="forestay", dbname="postgres", autocommit=True) as connection:
            connection.execute(f"CREATE SCHEMA {schema}".encode())
        return f"postgresql://forestay@/postgres?host={self.folder}&options=-csearch_path%3D{schema}"

    def configure(self, name: str, value: str) -> None:
        """Change a setting of the running server."""
        with psycopg.connect(host=str(self.folder), user="forestay", dbname="postgres", autocommit=True) as connection:
            connection.execute(f"ALTER SYSTEM SET {name} = {value}".encode())
            connection.execute("SELECT pg_reload_conf()")
        for _ in range(100):
            with psycopg.connect(host=str(self.folder), user="forestay", dbname="postgres") as connection:
                row = connection.execute(f"SHOW {name}".encode()).fetchone()
            if row == (value,):
                return
            time.sleep(0.05)
        raise AssertionError(f"{name} did not become {value}")

    def remove(self) -> None:
        """Stop, and leave nothing behind."""
        self.stop("immediate")
        shutil.rmtree(self.folder, ignore_errors=True)
