"""How much may be asked in how short a time, by one account and from one address: token buckets, in memory.

A bucket holds so many requests at most and fills evenly. The numbers stand in ``services/access.toml`` and leave room for a
clinic behind one address; what they stop is a script that runs wild, and whoever tries many addresses while signed out.
"""

from __future__ import annotations

import math
import time
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from threading import Lock
from typing import Any

from forestay.errors import ForestayError
from forestay.services.access import table
from forestay.text import tr

BUCKETS_KEPT = 20_000
"""The bucket that was longest unused goes first; it would be full again in most cases."""


class TooManyRequests(ForestayError):
    """More was asked than one account or one address may ask; what was sent is not lost, it may be sent again."""

    code = "too-many-requests"
    http_status = 429

    def __init__(self, message: str, *, retry_after_s: int) -> None:
        super().__init__(message)
        self.retry_after_s = retry_after_s


@dataclass(slots=True)
class _Bucket:
    left: float
    at: float


class Limits:
    """The buckets of one server. Safe to use from several threads."""

    def __init__(self, limits: Mapping[str, Any] | None = None, *, clock: Callable[[], float] = time.monotonic) -> None:
        self._limits = limits if limits is not None else table().limits["requests"]
        self._clock = clock
        self._buckets: OrderedDict[tuple[str, str], _Bucket] = OrderedDict()
        self._lock = Lock()

    def take(self, kind: str, whose: str) -> None:
        """One request of ``kind`` (account, address, signed_out); refused where the bucket is empty."""
        most, each_s = (float(n) for n in self._limits[kind])
        now = self._clock()
        with self._lock:
            bucket = self._buckets.setdefault((kind, whose), _Bucket(most, now))
            self._buckets.move_to_end((kind, whose))
            while len(self._buckets) > BUCKETS_KEPT:
                self._buckets.popitem(last=False)
            bucket.left = min(most, bucket.left + (now - bucket.at) * each_s)
            bucket.at = now
            if bucket.left >= 1:
                bucket.left -= 1
                return
            wait_s = math.ceil((1 - bucket.left) / each_s)
        raise TooManyRequests(
            tr("Too much was asked in a short time; the same may be sent again in {seconds} s.", seconds=wait_s),
            retry_after_s=wait_s,
        )
