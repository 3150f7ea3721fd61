"""Streams of a case: woken by this program at once, by another one within a second; they hold no thread and end with the server."""

from __future__ import annotations

import asyncio
import json
import threading
import time
from pathlib import Path
from uuid import uuid4

from forestay.services.cases import Who
from forestay.services.planner import Planner
from forestay.services.planning import Desk, keep_demo
from forestay.store.memory import MemoryFactStore
from forestay.store.sql import SqlFactStore
from forestay.web.live import Live
from tests.web.desk import CASE, invented_desk, invented_plan
from tests.web.visitor import Visitor

ME, OTHER = Who("desk", "web-aa"), Who("desk", "web-bb")


def events(parts: list[bytes]) -> list[dict[str, int]]:
    """The data of the events in a stream."""
    lines = b"".join(parts).decode().splitlines()
    return [json.loads(line.removeprefix("data: ")) for line in lines if line.startswith("data: ")]


async def collected(desk: Desk, live: Live, after: int, acts: list[tuple[float, Desk, float]]) -> list[bytes]:
    """What a stream says while ``acts`` (when, by whom, which length) happen; the stream is closed after the last."""

    async def read() -> list[bytes]:
        return [part async for part in live.stream(desk, CASE, after)]

    reading = asyncio.create_task(read())
    for wait, who, length in acts:
        await asyncio.sleep(wait)
        await asyncio.to_thread(who.enter, CASE, {"biometry.axial_length_mm": length}, key=uuid4())
    await asyncio.sleep(0.3)
    live.close()
    return await asyncio.wait_for(reading, 2)


def test_a_stream_says_the_new_end_at_once_and_how_much_of_it_came_from_elsewhere() -> None:
    desk = invented_desk()
    head = desk.store.head(CASE)
    acts = [(0.05, desk.by(OTHER), 23.5), (0.2, desk.by(ME), 23.6)]
    said = events(asyncio.run(collected(desk.by(ME), Live(), head, acts)))
    assert said == [{"head": head + 1, "others": 1}, {"head": head + 2, "others": 0}]


def test_facts_of_another_program_are_seen_within_a_second(tmp_path: Path) -> None:
    address = f"sqlite:///{tmp_path}/cases.sqlite"
    here, there = SqlFactStore(address), SqlFactStore(address)
    keep_demo(here)
    mine, elsewhere = (Desk(store, Planner(invented_plan), ME) for store in (here, there))
    head = here.head(CASE)

    async def seen() -> float:
        live = Live()
        stream = live.stream(mine, CASE, head)
        await anext(stream)  # how soon to come again
        waiting = asyncio.create_task(anext(stream))  # type: ignore[arg-type]
        await asyncio.sleep(0.1)
        begun = time.monotonic()
        await asyncio.to_thread(elsewhere.by(OTHER).enter, CASE, {"biometry.axial_length_mm": 23.5}, key=uuid4())
        part: bytes = await asyncio.wait_for(waiting, 5)
        assert events([part]) == [{"head": head + 1, "others": 1}]
        await stream.aclose()  # type: ignore[attr-defined]
        return time.monotonic() - begun

    assert asyncio.run(seen()) < 2.0
    here.close()
    there.close()


def test_two_hundred_streams_hold_no_thread() -> None:
    desk = invented_desk()
    head = desk.store.head(CASE)

    async def many() -> int:
        live = Live()
        streams = [live.stream(desk, CASE, head) for _ in range(200)]
        for stream in streams:
            await anext(stream)
        waiting = [asyncio.create_task(anext(stream)) for stream in streams]  # type: ignore[arg-type]
        await asyncio.sleep(0.5)
        threads = threading.active_count()
        await asyncio.to_thread(desk.by(OTHER).enter, CASE, {"lens.grade": 2}, key=uuid4())
        said = await asyncio.wait_for(asyncio.gather(*waiting), 10)
        assert [events([part]) for part in said] == [[{"head": head + 1, "others": 1}]] * 200
        for stream in streams:
            await stream.aclose()  # type: ignore[attr-defined]
        return threads

    assert asyncio.run(many()) < 80
    store = desk.store
    assert isinstance(store, MemoryFactStore)
    assert store._listeners == []


def test_whoever_reads_no_stream_gets_one_answer_and_a_wrong_case_is_said(client: Visitor, desk: Desk) -> None:
    head = desk.store.head(CASE)
    assert client.get(f"/cases/{CASE}/events").json() == {"head": head, "others": head}
    assert client.get(f"/cases/{CASE}/events?after={head}").json() == {"head": head, "others": 0}
    assert client.get("/cases/none/events").status_code == 404
    assert client.get(f"/cases/{CASE}/events?after=-1").status_code == 422
    assert client.get(f"/cases/{CASE}/events", headers={"Last-Event-ID": str(head)}).json()["others"] == 0
