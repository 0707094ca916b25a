"""Packs of SenML for tests: taken at one moment, and what came of them."""

import json

from sensors.clock import parse_time
from sensors.senml import Parsed, Resolved, load_pack, parse, resolve

NOW = parse_time("2026-03-02T06:00:00Z")
NOW_S = NOW / 1000


def take(pack: object, arrived: int = NOW) -> Parsed:
    return parse(json.dumps(pack).encode(), "shop", "n1", arrived, "here")


def values(parsed: Parsed) -> list[tuple[str, str, float, int]]:
    return [(r.name, r.unit, r.value, r.time) for r in parsed.readings]


def only_reason(parsed: Parsed) -> str:
    assert parsed.readings == ()
    (rejected,) = parsed.rejected
    return rejected.reason


def resolved(payload: str, now: int) -> list[Resolved]:
    base: dict[str, object] = {}
    records = [resolve(record, base, now) for record in load_pack(payload.encode())]
    return [record for record in records if record is not None]
