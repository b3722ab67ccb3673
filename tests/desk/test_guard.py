"""The desk attacked: whoever is not its own page gets a sentence, and nothing else."""

from __future__ import annotations

import asyncio
import json
import time
from collections.abc import Callable
from typing import Any

import pytest
from starlette.testclient import TestClient
from starlette.websockets import WebSocketDisconnect
from tests.desk.conftest import KEY, PORT

from steybrae.desk import guard, server
from steybrae.desk.guard import MOST_BYTES, RefusedError, read_message
from steybrae.desk.opened import Desk
from steybrae.desk.server import desk_app
from steybrae.errors import FileReadError

HOST = f"127.0.0.1:{PORT}"
JSON = {"content-type": "application/json"}


def refused(client: TestClient, method: str, path: str, status: int, **more: object) -> str:
    """Ask, and return the sentence of the refusal."""
    found = client.request(method, path, **more)  # type: ignore[arg-type]
    assert found.status_code == status, found.text
    assert set(found.json()) == {"refused"}
    sentence: str = found.json()["refused"]
    assert sentence.endswith(".")
    assert not {"Traceback", "/work", "/home", "site-packages"} & set(sentence.split("/"))
    return sentence


def test_the_page_is_told_of_the_model(client: TestClient) -> None:
    found = client.get("model")
    assert found.status_code == 200
    told = found.json()
    assert (told["rows"], told["cols"]) == (700, 900)
    assert [one["key"] for one in told["layers"] if one["always"]] == ["unknown"]
    assert [one["label"] for one in told["legend"]][:2] == ["<25°", "25-30°"]
    assert told["cautions"]


def test_every_answer_carries_the_policy_and_shares_with_no_other_origin(client: TestClient) -> None:
    for found in (client.get("model"), client.get("static/no"), client.get(f"http://{HOST}/model")):
        policy = found.headers["content-security-policy"]
        assert policy.startswith("default-src 'none'; script-src 'self'; style-src 'self'")
        assert "unsafe" not in policy
        assert found.headers["x-content-type-options"] == "nosniff"
        assert found.headers["referrer-policy"] == "no-referrer"
        assert found.headers["cache-control"] == "no-store"
        assert not [name for name in found.headers if name.startswith("access-control")]


@pytest.mark.parametrize(
    "path", ["/", "/model", "/x/model", f"/{KEY[:-1]}/model", f"/{KEY}k/model", "//model"]
)
def test_without_the_key(client: TestClient, path: str) -> None:
    assert "key" in refused(client, "GET", f"http://{HOST}{path}", 403)


@pytest.mark.parametrize("host", ["evil.example", f"evil.example:{PORT}", "127.0.0.1", "127.0.0.1:80", ""])
def test_another_host_s_name_that_leads_here(client: TestClient, host: str) -> None:
    assert "host" in refused(client, "GET", "model", 403, headers={"host": host})


def test_our_own_name_on_this_machine(client: TestClient) -> None:
    assert client.get("model", headers={"host": f"localhost:{PORT}"}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": f"https://{HOST}"},
        {"origin": "http://127.0.0.1:1"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
)
def test_another_origin(client: TestClient, headers: dict[str, str]) -> None:
    assert "another" in refused(client, "GET", "model", 403, headers=headers)
    assert "another" in refused(client, "POST", "answer", 403, headers=JSON | headers, content="{}")


def test_our_own_origin(client: TestClient) -> None:
    headers = {"origin": f"http://{HOST}", "sec-fetch-site": "same-origin"}
    assert client.get("model", headers=headers).status_code == 200


def test_preflight_of_another_origin_is_given_nothing(client: TestClient) -> None:
    headers = {"origin": "http://evil.example", "access-control-request-method": "PUT"}
    refused(client, "OPTIONS", "draft", 403, headers=headers)
    refused(client, "OPTIONS", "draft", 405)


@pytest.mark.parametrize(
    "kind", [None, "text/plain", "application/x-www-form-urlencoded", "multipart/form-data"]
)
def test_messages_of_kinds_that_a_form_can_send(client: TestClient, kind: str | None) -> None:
    headers = {} if kind is None else {"content-type": kind}
    assert "type" in refused(client, "POST", "place", 415, headers=headers, content="{}")


def test_messages_that_are_too_large_told_or_not(client: TestClient) -> None:
    large = b" " * (MOST_BYTES + 1)
    assert "2 MB" in refused(client, "POST", "place", 413, headers=JSON, content=large)
    pieces = (large[:65536] for _ in range(40))
    assert "2 MB" in refused(client, "POST", "place", 413, headers=JSON, content=pieces)
    refused(client, "POST", "place", 413, headers=JSON | {"content-length": "9" * 400}, content=b"{}")
    refused(client, "POST", "place", 413, headers=JSON | {"content-length": "-1"}, content=b"{}")


@pytest.mark.parametrize(
    "path", ["static/%2e%2e%2fserver.py", "static/..%2f..%2fpyproject.toml", "static/",
             "static/leaflet-src.js", "static/%00", "static/leaflet.js%00.css", "tiles", "favicon.ico"],
)  # fmt: skip
def test_names_that_lead_elsewhere(client: TestClient, path: str) -> None:
    refused(client, "GET", path, 404)


def test_the_library_of_the_map_is_its_package_s(client: TestClient) -> None:
    found = client.get("static/leaflet.js")
    assert found.headers["content-type"].startswith("text/javascript")
    assert b"Leaflet 1.9" in found.content[:200]


@pytest.mark.parametrize(
    "body",
    [
        b"", b"[]", b"3", b'"a"', b"{", b"\xff\xfe", b'{"row": NaN}', b'{"row": Infinity}', b'{"row": 1e999}',
        b"[" * 100_000, b'{"a": "\\ud800"}', b'{"\\udfff": 1}',
        b'{"a":' * 20 + b"1" + b"}" * 20, b'{"a":' + b"9" * 5000 + b"}",
    ],
)  # fmt: skip
def test_messages_that_are_no_json_object_of_finite_numbers(client: TestClient, body: bytes) -> None:
    with pytest.raises(RefusedError, match="JSON object of finite numbers"):
        read_message(body)


def test_a_message_is_read() -> None:
    assert read_message(b'{"row": 1.5}') == json.loads('{"row": 1.5}')


def test_a_message_that_never_comes_is_given_up(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(guard, "BODY_SECONDS", 0.01)
    answers: list[dict[str, Any]] = []

    async def never() -> dict[str, Any]:
        await asyncio.sleep(60)
        return {}

    async def send(message: Any) -> None:
        answers.append(message)

    headers = [(b"host", HOST.encode()), (b"content-type", b"application/json")]
    scope = {"type": "http", "method": "POST", "path": f"/{KEY}/place", "headers": headers}
    asyncio.run(desk_app(desk, KEY, PORT)(scope, never, send))
    assert answers[0]["status"] == 408
    assert (b"connection", b"close") in answers[0]["headers"]


def test_who_has_left_is_noticed(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    noticed: list[bool] = []

    def slow(_: Desk, __: Any, left: Callable[[], bool]) -> dict[str, Any]:
        end = time.monotonic() + 20.0
        while not left() and time.monotonic() < end:
            time.sleep(0.001)
        noticed.append(left())
        return {}

    monkeypatch.setattr(server, "answer", slow)
    said = iter([{"type": "http.request", "body": b"{}", "more_body": False}, {"type": "http.disconnect"}])

    async def receive() -> dict[str, Any]:
        return next(said)

    async def send(_: Any) -> None:
        pass

    headers = [(b"host", HOST.encode()), (b"content-type", b"application/json")]
    scope = {
        "type": "http", "method": "POST", "path": f"/{KEY}/answer", "query_string": b"", "headers": headers,
    }  # fmt: skip
    asyncio.run(desk_app(desk, KEY, PORT)(scope, receive, send))
    assert noticed == [True]


def failing(*_: object) -> None:
    message = "at /home/somebody/secret.tif"
    raise ZeroDivisionError(message)


def unreadable(*_: object) -> None:
    message = "The file /home/somebody/secret.tif is damaged."
    raise FileReadError(message)


@pytest.mark.parametrize(("action", "status"), [(failing, 500), (unreadable, 422)])
def test_an_answer_tells_nothing_of_the_machine(
    desk: Desk, monkeypatch: pytest.MonkeyPatch, action: Callable[..., None], status: int
) -> None:
    monkeypatch.setitem(server.ACTIONS, ("POST", "place"), action)
    with TestClient(
        desk_app(desk, KEY, PORT), f"http://{HOST}/{KEY}/", raise_server_exceptions=False
    ) as client:
        sentence = refused(client, "POST", "place", status, headers=JSON, content="{}")
    assert "secret" not in sentence
    assert "terminal" in sentence


def test_websockets_are_closed(desk: Desk) -> None:
    with (
        TestClient(desk_app(desk, KEY, PORT), f"http://{HOST}/{KEY}/") as client,
        pytest.raises(WebSocketDisconnect),
        client.websocket_connect(f"/{KEY}/model"),
    ):
        pass
