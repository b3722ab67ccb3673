"""A plan as it is drawn is kept at once: through a closed page, a killed program and a second page."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from tests.desk.made_lines import message, sample_points

from steybrae.desk.draft import Conflict, draft, keep
from steybrae.desk.guard import RefusedError
from steybrae.desk.opened import Desk
from steybrae.errors import FileWriteError
from steybrae.files import whole
from steybrae.files.whole import change_draft, read_draft


@pytest.fixture
def state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    return tmp_path / "steybrae"


def written(count: int, revision: int, **more: Any) -> dict[str, Any]:
    return message(("Day", "main", sample_points(count)), revision=revision, **more)


def test_what_is_kept_comes_back(desk: Desk, state: Path) -> None:
    assert draft(desk, {}) == {"revision": 0, "lines": [], "day": {}}
    assert keep(desk, written(4, 0, day={"date": "2027-01-15"})) == {"revision": 1}
    assert keep(desk, written(5, 1, day={"date": "2027-01-16"})) == {"revision": 2}
    found = draft(desk, {})
    assert (found["revision"], found["day"]) == (2, {"date": "2027-01-16"})
    (line,) = found["lines"]
    assert [(p["lat"], p["lon"], p["name"]) for p in line["points"]] == [
        (p["lat"], p["lon"], p["name"]) for p in sample_points(5)
    ]
    assert [path.suffix for path in sorted(state.iterdir())] == [".json", ".lock"]


def test_a_page_that_comes_late_is_told_what_another_wrote(desk: Desk, state: Path) -> None:
    keep(desk, written(4, 0))
    with pytest.raises(Conflict) as told:
        keep(desk, written(6, 0))
    assert told.value.told["revision"] == 1
    assert len(told.value.told["lines"][0]["points"]) == 4
    assert draft(desk, {})["revision"] == 1


@pytest.mark.parametrize("lock_file", [False, True])
def test_of_pages_that_write_at_once_one_is_first(
    desk: Desk, state: Path, monkeypatch: pytest.MonkeyPatch, *, lock_file: bool
) -> None:
    outcomes: list[str] = []
    if lock_file:
        monkeypatch.setattr(whole, "fcntl", None)

    def write(count: int) -> None:
        try:
            keep(desk, written(count, 0))
            outcomes.append("kept")
        except Conflict:
            outcomes.append("told")

    pages = [threading.Thread(target=write, args=(count,)) for count in (2, 3, 4, 5)]
    for page in pages:
        page.start()
    for page in pages:
        page.join()
    assert sorted(outcomes) == ["kept", "told", "told", "told"]
    assert [path.suffix for path in sorted(state.iterdir())] == [".json"] + [".lock"] * (not lock_file)


def test_a_lock_file_that_a_killed_writer_left_is_told(
    desk: Desk, state: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    keep(desk, written(2, 0))
    monkeypatch.setattr(whole, "DRAFT_WAIT_S", 0.01)
    monkeypatch.setattr(whole, "fcntl", None)
    (lock,) = state.glob("*.lock")
    with pytest.raises(FileWriteError) as caught:
        keep(desk, written(2, 1))
    assert str(caught.value) == (
        f"The draft beside {lock} should be free; another program holds it. Close that. If none runs, remove "
        f"{lock.name} first."
    )


def test_the_last_write_of_a_closing_page_waits_for_the_one_before(desk: Desk, state: Path) -> None:
    last: list[dict[str, Any]] = []
    closing = threading.Thread(target=lambda: last.append(keep(desk, written(5, 1))))
    closing.start()
    keep(desk, written(4, 0))
    closing.join()
    assert last == [{"revision": 2}]


def test_over_http_a_late_page_gets_409(client: Any, state: Path) -> None:
    assert client.put("draft", json=written(3, 0)).json() == {"revision": 1}
    found = client.put("draft", json=written(4, 0))
    assert found.status_code == 409
    assert found.json()["revision"] == 1
    assert client.get("model").json()["draft"]["revision"] == 1


def test_a_draft_that_cannot_be_read_is_put_aside(desk: Desk, state: Path) -> None:
    keep(desk, written(3, 0))
    (path,) = state.glob("*.json")
    path.write_text('{"form": "other"}')
    assert draft(desk, {})["revision"] == 0
    assert [one.read_text() for one in state.glob("*.damaged")] == ['{"form": "other"}']


@pytest.mark.parametrize(
    "wrong", [{"lines": 1}, {"lines": [{"points": [{"lat": "x"}]}]}, {"revision": None}, {"day": {"a": 1}}]
)
def test_what_is_no_plan_is_refused_and_leaves_the_draft(desk: Desk, state: Path, wrong: Any) -> None:
    keep(desk, written(3, 0))
    with pytest.raises(RefusedError):
        keep(desk, {**written(4, 1), **wrong})
    assert len(draft(desk, {})["lines"][0]["points"]) == 3


WRITER = """
import json, sys
from pathlib import Path
from steybrae.files.whole import change_draft
print("begun", flush=True)
for k in range(1_000_000):
    change_draft(Path(sys.argv[1]), lambda _: json.dumps({"k": k, "filler": "x" * 20000}))
"""


def test_a_killed_writer_leaves_a_whole_draft_and_no_lock(tmp_path: Path) -> None:
    path = tmp_path / "draft.json"
    for pause_s in (0.01, 0.05, 0.1):
        writer = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(path)], stdout=subprocess.PIPE, text=True, env=dict(os.environ)
        )
        assert writer.stdout is not None
        writer.stdout.readline()
        threading.Event().wait(pause_s)
        writer.send_signal(signal.SIGKILL)
        writer.wait()
        writer.stdout.close()
        text = read_draft(path)
        assert text is None or len(json.loads(text)["filler"]) == 20000
        change_draft(path, lambda _: '{"k": -1, "filler": "' + "y" * 20000 + '"}')
        assert json.loads(read_draft(path) or "")["k"] == -1
