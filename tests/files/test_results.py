"""Results as JSON: names, null for unknown, what is left out."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from steybrae.files.results import SCHEMA, as_json, json_text


@dataclass(frozen=True)
class Part:
    low_deg: float
    high_deg: float | None


@dataclass(frozen=True)
class Whole:
    from_: str
    value_deg: Any
    parts: tuple[Part, ...] = ()
    lengths_m: dict[str, float] = field(default_factory=dict)
    table: Any = field(default=None, metadata={"json": False})


def test_schema_and_command_come_first() -> None:
    keys = ["schema", "command", "settings_file", "low_deg", "high_deg"]
    assert list(as_json("gap", Part(1.0, None))) == keys
    assert as_json("gap", Part(1.0, None)) == {
        "schema": SCHEMA,
        "command": "gap",
        "settings_file": None,
        "low_deg": 1.0,
        "high_deg": None,
    }


def test_names_keep_no_underscore_and_tables_stay_out() -> None:
    found = as_json("x", Whole("Torran", 1.0, table=np.zeros(10)))
    assert found["from"] == "Torran"
    assert "table" not in found
    assert "from_" not in found


def test_nesting() -> None:
    found = as_json("x", Whole("a", 1.0, (Part(1.0, 2.0), Part(2.0, math.inf)), {"<25": math.nan}))
    assert found["parts"] == [{"low_deg": 1.0, "high_deg": 2.0}, {"low_deg": 2.0, "high_deg": None}]
    assert found["lengths_m"] == {"<25": None}


@pytest.mark.parametrize(
    "unknown", [math.nan, math.inf, -math.inf, np.float64("nan"), np.float32("inf"), np.array(np.nan), None]
)
def test_unknown_is_null(unknown: Any) -> None:
    assert json.loads(json_text("x", Whole("a", unknown)))["value_deg"] is None


@pytest.mark.parametrize(
    ("value", "expected"),
    [(np.float64(0.1), 0.1), (np.int16(3), 3), (np.bool_(True), True), (True, True), ("25-30", "25-30")],
)
def test_plain_values(value: Any, expected: Any) -> None:
    found = json.loads(json_text("x", Whole("a", value)))["value_deg"]
    assert found == expected
    assert type(found) is type(expected)


def test_text_is_not_escaped_and_does_not_end_in_a_line_feed() -> None:
    text = json_text("x", Whole("Stùc 35°", 1.0))
    assert "Stùc 35°" in text
    assert text.endswith("}")


@given(st.floats())
def test_every_finite_number_comes_back_unrounded(value: float) -> None:
    found = json.loads(json_text("x", Whole("a", value)))["value_deg"]
    assert found == (value if math.isfinite(value) else None)
