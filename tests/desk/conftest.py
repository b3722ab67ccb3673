"""A desk on the sample, open for all tests of a module."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

import pytest
from starlette.testclient import TestClient

from steybrae.card.settings import CardSettings
from steybrae.desk.opened import Desk, DeskAsk
from steybrae.desk.server import desk_app
from steybrae.files.results import sample, sample_model
from steybrae.forecast.bulletin import parse_span
from steybrae.library.forecast import read_asked
from steybrae.screening import Settings

KEY = "k" * 32
PORT = 8123

BULLETIN = read_asked(
    sample().bulletin,
    region="XX-STEY-01",
    lang=None,
    span=parse_span("2027-01-15T09:30Z"),
    treeline_m=None,
    slope_deg=None,
    reduction=False,
)


@pytest.fixture(scope="session")
def desk() -> Iterator[Desk]:
    ask = DeskAsk((sample_model(),), Settings(), CardSettings(dt.date(2027, 1, 15)))
    opened = Desk(ask)
    yield opened
    opened.close()


@pytest.fixture(scope="session")
def client(desk: Desk) -> Iterator[TestClient]:
    """Asks as the page does: below the key."""
    with TestClient(desk_app(desk, KEY, PORT), f"http://127.0.0.1:{PORT}/{KEY}/") as found:
        yield found
