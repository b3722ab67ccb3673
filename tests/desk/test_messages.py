"""Hostile messages to everything that the desk does: each gets an answer or a sentence, and never fails."""

from __future__ import annotations

import json
from typing import Any, Final

import pytest
from starlette.testclient import TestClient

from steybrae.desk.server import ACTIONS

POINT: Final = {"lat": 59.224, "lon": -8.0574, "name": ""}


def line(*points: Any, **more: Any) -> dict[str, Any]:
    return {
        "lines": [{"name": "day", "role": "main", "points": [*points]} | more],
        "active": 0,
        "sequence": 1,
    }


POINTS: Final[list[Any]] = [
    None, [], {}, "a", {"lat": 1}, {"lat": "1", "lon": "2"}, {"row": [], "col": {}}, {"lat": 91.0, "lon": 0},
    {"lat": 1e308, "lon": -1e308}, {"row": 1e308, "col": 1e308}, {"row": -1e12, "col": 1e12},
    {"lat": 90.0, "lon": 0.0}, {"lat": -90.0, "lon": 180.0}, {"lat": 0.0, "lon": 172.0}, POINT | {"name": 5},
    POINT | {"name": "a" * 100_000}, POINT | {"name": "\ud800\x00\x1b[31m</script>"},
]  # fmt: skip
WITH: Final[list[dict[str, Any]]] = [
    *({"active": value} for value in (7, -1, "0", 1e300, 0.5, None)),
    *({"sequence": value} for value in ("\ud800", {"a": []}, -1e300)),
    *({"revision": value} for value in (-5, 1e308, 0.5, "1")),
    *({"day": value} for value in ([], {"date": 5}, {str(k): "" for k in range(1000)}, {"\ud800": "\ud800"})),
    {"day": {"date": "\ud800", "start": "99:99", "zone": "../../etc/passwd"}, "revision": 0},
    {"day": {"\ud800": "\ud800"}, "revision": 0},
]
TYPED: Final[list[dict[str, Any]]] = [
    {"text": 5}, {"text": "x" * 100_000}, {"text": "\ud800"}, {"text": "245 grid 600 m", "after": 7},
    {"text": "1e999 true 5m", "after": POINT}, {"text": "245 true 1e300km", "after": POINT},
    {"text": "245 true 600 m", "after": {"lat": 90.0, "lon": 0.0}}, {"text": "90.0 0.0"}, {"text": "HX 1 7"},
]  # fmt: skip
HOSTILE: Final[list[dict[str, Any]]] = [
    {},
    *({"lines": lines} for lines in (None, {}, [None], [[]], [{}], "x" * 100_000, [{"points": []}] * 500)),
    *(line(point) for point in POINTS),
    *(line(POINT, point) for point in POINTS),
    line(*[POINT] * 2000),
    *(
        line(POINT, **more)
        for more in ({"role": "other"}, {"role": None}, {"name": None}, {"name": "\udfff<b>"})
    ),
    *(line(POINT) | more for more in WITH),
    *TYPED,
    *({"row": row, "col": col} for row, col in ((1e308, 1e308), (-1e18, 5), (5, 1e12), (-1e12, -1e12))),
]

JSON_ACTIONS: Final = [one for one in ACTIONS if one[0] != "GET" and one[1] != "open"]


@pytest.mark.parametrize(("method", "path"), JSON_ACTIONS)
def test_hostile_messages(client: TestClient, method: str, path: str) -> None:
    # All of them read lines by one function; what makes files takes longer.
    for message in HOSTILE[:: 1 if path in ("draft", "answer", "typed") else 11]:
        found = client.request(
            method, path, content=json.dumps(message), headers={"content-type": "application/json"}
        )
        assert found.status_code in (200, 400, 409, 422), (message, found.text[:500])
        if found.status_code in (400, 422):
            told = found.json()
            assert set(told) == {"refused"}
            assert 10 < len(told["refused"]) < 2000
            assert told["refused"][-1] in ".?"


@pytest.mark.parametrize(
    "body",
    [
        b"", b"\x00" * 1000, b"PK\x03\x04", b"<gpx>", b"<gpx></gpx>", b"\xff\xfe<\x00g\x00", b"{}", b"[" * 99,
        b'<?xml version="1.0"?><!DOCTYPE l [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;">]>'
        b"<gpx><rte><name>&b;</name></rte></gpx>",
        b'<?xml version="1.0"?><!DOCTYPE l [<!ENTITY a SYSTEM "file:///etc/passwd">]>'
        b"<gpx><rte><name>&a;</name></rte></gpx>",
        b'<gpx><rte><rtept lat="90" lon="0"/><rtept lat="-90" lon="180"/></rte></gpx>',
        b'<gpx><rte><rtept lat="NaN" lon="0"/><rtept lat="1" lon="inf"/></rte></gpx>',
        b"<a>" * 20_000, b"lat,lon\n1,2\n", b"lat,lon\nx,y\n",
    ],
)  # fmt: skip
def test_files_that_are_no_route(client: TestClient, body: bytes) -> None:
    found = client.post("open", content=body, headers={"content-type": "application/gpx+xml"})
    assert found.status_code in (200, 400, 422), found.text[:500]
    assert "root:" not in found.text
    if found.status_code != 200:
        assert "terminal" not in found.json()["refused"], "the page's own file is told of as such"
