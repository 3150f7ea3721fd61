"""Starting the server: the port, the store, the invented cases, the end."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest

from forestay.errors import InvalidInput, UnreadableFile
from forestay.web.serve import HOST, PortTaken, Reach, build, listen, serve
from tests.web.visitor import Visitor


def test_a_taken_port_is_one_sentence() -> None:
    with listen(0) as first:
        port = first.getsockname()[1]
        with pytest.raises(PortTaken, match=f"Port {port} is taken"):
            listen(port)


@pytest.mark.parametrize("port", [-1, 65536])
def test_an_impossible_port_is_refused(port: int) -> None:
    with pytest.raises(InvalidInput, match="0 to 65535"):
        listen(port)


def test_only_this_computer_is_listened_to() -> None:
    with listen(0) as opened:
        assert opened.getsockname()[0] == HOST == "127.0.0.1"


def test_a_network_is_served_only_over_tls(tmp_path: Path) -> None:
    with pytest.raises(InvalidInput, match="without encryption"):
        serve(0, str(tmp_path / "x.sqlite"), False, reach=Reach("0.0.0.0"))  # noqa: S104 - refused
    with pytest.raises(InvalidInput, match="private key"):
        serve(0, str(tmp_path / "x.sqlite"), False, reach=Reach(certificate=tmp_path))
    with pytest.raises(UnreadableFile, match="no file"):
        serve(0, None, False, reach=Reach(certificate=tmp_path / "absent", private_key=tmp_path / "absent"))
    assert not (tmp_path / "x.sqlite").exists()


def test_accounts_are_on_where_others_can_reach_it_and_off_without_ceremony_here(tmp_path: Path) -> None:
    db = str(tmp_path / "cases.sqlite")
    here, code = build(db, demo=False)
    assert code is None
    assert Visitor(here).get("/").status_code == 200
    asked, code = build(db, demo=False, reach=Reach(accounts=True))
    assert code is None
    assert "first account" in Visitor(asked).get("/").text
    there, code = build(db, demo=False, reach=Reach("0.0.0.0"))  # noqa: S104 - nothing is opened here
    assert code is not None
    assert "Code that the terminal shows" in Visitor(there).get("/").text


@pytest.mark.parametrize("before", ["SIG_IGN", "default_int_handler"])  # in the background of a shell, in front
def test_it_says_its_address_answers_and_stops_when_interrupted(tmp_path: Path, before: str) -> None:
    db = tmp_path / "cases.sqlite"
    code = f"import signal; signal.signal(signal.SIGINT, signal.{before}); from forestay.web.serve import serve; serve(0, {str(db)!r}, False)"
    environment = {**os.environ, "PYTHONUNBUFFERED": "1"}
    with subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment
    ) as started:
        try:
            assert started.stdout is not None
            sentence = started.stdout.readline()
            address = sentence.split()[3]
            assert address.startswith("http://127.0.0.1:")
            with urllib.request.urlopen(f"{address}health", timeout=10) as answer:  # noqa: S310 - our own address
                assert answer.status == 200
        finally:
            started.send_signal(signal.SIGINT)
            said, errors = started.communicate(timeout=20)
    assert "Traceback" not in errors
    assert "Stopped." in said
    assert started.returncode == 0
    assert db.is_file()
