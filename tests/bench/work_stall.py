"""Send many requests at once for half a minute: none is refused or waits longer than the queue."""

import asyncio
import json
import time
from collections.abc import Iterator
from urllib.parse import urlsplit

from tests.bench.filled import SEASON, fill_server, public_id
from tests.bench.serving import copied, ours
from tests.bench.timing import Row
from tests.bench.work_requests import sent
from tests.reliability.places import fresh

CLIENTS, SECONDS, WRITES_OF = 256, 30, 16
PATHS = ("/v1/trials?limit=50", f"/v1/organisations/{public_id('org', 1)}/report",
         f"/v1/teams/{public_id('team', 3)}/progress", f"/v1/seasons/{SEASON}")  # fmt: skip


def rows(scale: str) -> Iterator[Row]:
    """Yield the slowest hundredth against a fair share of the queue, and the errors."""
    with ours(copied("club")) as (service, key):
        yield from _rows("SQLite", asyncio.run(_all(service.url, key)))
    with fresh("postgresql") as (_, server):
        fill_server(server)
        with ours(server) as (service, key):
            yield from _rows("PostgreSQL", asyncio.run(_all(service.url, key)))


def _rows(database: str, seen: list[tuple[float, int]]) -> Iterator[Row]:
    taken = sorted(seconds for seconds, _ in seen)
    errors = sum(status >= 400 for _, status in seen)
    work = f"{CLIENTS} clients for {SECONDS} s, {database}, {len(seen) / SECONDS:.0f} requests/s"
    fair = CLIENTS * SECONDS / len(seen)
    yield Row(f"{work}, p99", taken[int(0.99 * len(taken))], "clients ÷ throughput", fair, 2)
    yield Row(f"{work}, errors", errors, "none", 1, 0, unit="")


async def _all(url: str, key: str) -> list[tuple[float, int]]:
    seen: list[tuple[float, int]] = []
    until = time.perf_counter() + SECONDS
    clients = (_client(url, key, number, until, seen) for number in range(CLIENTS))
    await asyncio.gather(*clients)
    return seen


async def _client(
    url: str, key: str, number: int, until: float, seen: list[tuple[float, int]]
) -> None:
    """Send requests over one persistent connection; every sixteenth client writes."""
    where = urlsplit(url)
    reader, writer = await asyncio.open_connection(where.hostname, where.port)
    asked = 0
    while time.perf_counter() < until:
        is_write = number % WRITES_OF == 0
        body = json.dumps(sent()).encode() if is_write else b""
        path = "/v1/trials" if is_write else PATHS[(number + asked) % len(PATHS)]
        head = (f"{'POST' if is_write else 'GET'} {path} HTTP/1.1\r\nHost: {where.netloc}\r\n"
                f"Authorization: Bearer {key}\r\nContent-Type: application/json\r\n"
                f"Content-Length: {len(body)}\r\n\r\n")  # fmt: skip
        started = time.perf_counter()
        writer.write(head.encode() + body)
        status = await _answer(reader)
        seen.append((time.perf_counter() - started, status))
        asked += 1
    writer.close()


async def _answer(reader: asyncio.StreamReader) -> int:
    """Read one answer; return its status."""
    head = (await reader.readuntil(b"\r\n\r\n")).decode().lower()
    length = int(head.split("content-length:")[1].split()[0])
    await reader.readexactly(length)
    return int(head.split()[1])
