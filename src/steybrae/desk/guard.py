"""Who may ask the desk, and how: the key, the host's name, the origin, and what a message may hold.

A page of another origin may send requests to this machine, and a name of its own may lead here (DNS
rebinding). So each request must hold the key in its address and our own host's name, and where the
browser tells its origin, ours. All answers carry a policy that lets the page load nothing but ours.
"""

from __future__ import annotations

import asyncio
import hmac
import json
import math
import re
from collections.abc import Awaitable, Callable, Iterable, Mapping, MutableMapping
from typing import Any, Final

Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[MutableMapping[str, Any], Receive, Send], Awaitable[None]]

MOST_BYTES: Final = 2 * 2**20
"""Largest message, bytes (our choice): a recorded day is a tenth of it."""

BODY_SECONDS: Final = 20.0
"""Longest time for a message to arrive, seconds (our choice)."""

KINDS: Final = {"open": "application/gpx+xml"}
"""What a message to an action holds where it is not JSON."""

POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)

HEADERS: Final = {
    "content-security-policy": POLICY,
    "referrer-policy": "no-referrer",
    "x-content-type-options": "nosniff",
    "cache-control": "no-store",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}
"""Headers of every answer."""


class Guard:
    """Refuses what does not come from our own page, before the app sees it; paths it sees without the key."""

    def __init__(self, app: App, key: str, port: int) -> None:
        self._app, self._key = app, key.encode()
        self._hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}

    async def __call__(self, scope: MutableMapping[str, Any], receive: Receive, send: Send) -> None:
        """Answer as ASGI has it."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            await send({"type": "websocket.close", "code": 1008})
            return

        async def send_guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                own = [(name.encode(), value.encode()) for name, value in HEADERS.items()]
                kept = [
                    pair for pair in message["headers"] if pair[0].decode("latin-1").lower() not in HEADERS
                ]
                message["headers"] = [*kept, *own]
            await send(message)

        try:
            inner = self._checked(scope)
            body = await _whole_body(scope, receive)
        except RefusedError as error:
            await send_refusal(send_guarded, error)
            return
        await self._app(inner, _given(body, receive), send_guarded)

    def _checked(self, scope: MutableMapping[str, Any]) -> MutableMapping[str, Any]:
        """Return the scope with the key taken off its path."""
        host = _one_header(scope, "host")
        if host not in self._hosts:
            raise RefusedError(403, "The desk answers to its own address alone; this one has another host.")
        origin = _one_header(scope, "origin")
        site = _one_header(scope, "sec-fetch-site")
        if origin not in (None, f"http://{host}") or site not in (None, "same-origin", "none"):
            raise RefusedError(403, "The desk answers its own page alone; this request comes from another.")
        key, slash, rest = scope["path"].removeprefix("/").partition("/")
        if not slash or not hmac.compare_digest(key.encode("utf-8", "replace"), self._key):
            raise RefusedError(403, "The address should hold the key that the command printed; it does not.")
        if scope["method"] in ("POST", "PUT"):
            _check_kind(rest, _one_header(scope, "content-type"))
        return {**scope, "path": f"/{rest}", "raw_path": f"/{rest}".encode(), "root_path": ""}


def _one_header(scope: MutableMapping[str, Any], name: str) -> str | None:
    """Text of a header; refused where it is sent twice, for two readers may take different ones."""
    found = [value for key, value in scope["headers"] if key.lower() == name.encode()]
    if len(found) > 1:
        raise RefusedError(400, f"A request has one header {name}; this one has {len(found)}.")
    return found[0].decode("latin-1") if found else None


def _check_kind(path: str, kind: str | None) -> None:
    wanted = KINDS.get(path, "application/json")
    if kind is None or kind.partition(";")[0].strip().lower() != wanted:
        raise RefusedError(415, f"This message should be of the type {wanted}; send it as that.")


async def _whole_body(scope: MutableMapping[str, Any], receive: Receive) -> bytes:
    """Read a message whole, refused where it is too large or comes too slowly."""
    too_large = RefusedError(
        413, f"A message should have at most {MOST_BYTES // 2**20} MB; this one has more."
    )
    said = _one_header(scope, "content-length")
    if said is not None and (not said.isdecimal() or int(said[:20]) > MOST_BYTES):
        raise too_large
    found = bytearray()
    try:
        async with asyncio.timeout(BODY_SECONDS):
            more = True
            while more:
                message = await receive()
                found += message.get("body", b"")
                more = message.get("more_body", False)
                if len(found) > MOST_BYTES:
                    raise too_large
    except TimeoutError:
        raise RefusedError(408, "The message did not arrive in time; send it again.") from None
    return bytes(found)


def _given(body: bytes, receive: Receive) -> Receive:
    """Give a message that was read, then what comes after it."""
    first: Iterable[Message] = iter([{"type": "http.request", "body": body, "more_body": False}])

    async def give() -> Message:
        for message in first:
            return message
        return await receive()

    return give


async def send_refusal(send: Send, error: RefusedError) -> None:
    """Send a refusal as JSON; the connection ends, for the rest of its message is not read."""
    body = json.dumps({"refused": error.sentence}).encode()
    headers = [
        (b"content-type", b"application/json"),
        (b"content-length", str(len(body)).encode()),
        (b"connection", b"close"),
    ]
    await send({"type": "http.response.start", "status": error.status, "headers": headers})
    await send({"type": "http.response.body", "body": body})


MOST_DEEP: Final = 16
"""Deepest nesting of a message (our choice)."""

_HALF_LETTER: Final = re.compile("[\ud800-\udfff]")

MOST_NUMBER: Final = 1e12
"""Largest number of a message (our choice): a column or row of no model."""


class RefusedError(Exception):
    """A request that is not answered.

    Parameters
    ----------
    status
        HTTP status.
    sentence
        What was expected, what arrived, what to do; it is sent to whoever asked.
    """

    def __init__(self, status: int, sentence: str) -> None:
        super().__init__(sentence)
        self.status, self.sentence = status, sentence


def read_message(body: bytes) -> dict[str, Any]:
    """Read a message: a JSON object of finite numbers, not nested deeply; all else is refused."""
    wrong = RefusedError(400, "A message should be a JSON object of finite numbers; this one is not.")

    def number(text: str) -> float:
        found = float(text)
        if not math.isfinite(found):
            raise wrong
        return found

    try:
        found = json.loads(body, parse_float=number, parse_constant=number)
    except (ValueError, RecursionError):
        raise wrong from None
    if not isinstance(found, dict) or not _usable(found, MOST_DEEP):
        raise wrong
    return found


def _usable(value: Any, left: int) -> bool:
    """Whether a value is not nested deeply, and its texts can be sent back: none has half a letter."""
    if isinstance(value, str):
        return value.isascii() or not _HALF_LETTER.search(value)
    if not isinstance(value, (dict, list)):
        return True
    inner = [*value, *value.values()] if isinstance(value, dict) else value
    return left > 0 and all(_usable(one, left - 1) for one in inner)


def number_in(message: Mapping[str, Any], name: str) -> float:
    """Take a number of a message or of an address; refused where it is none."""
    value = message.get(name)
    try:
        found = math.nan if isinstance(value, bool) else float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, OverflowError):
        found = math.nan
    if not abs(found) <= MOST_NUMBER:  # NaN is not either
        raise RefusedError(400, f"A message should hold a number {name}; this one does not.")
    return found
