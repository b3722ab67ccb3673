"""Whatever people give: one sentence on stderr and status 2, or an answer with its cautions.

The inputs and what each is to say stand in ``bad_inputs.json``, where an ellipsis stands for
words of another library; ``python -m tests.cli.test_bad_input`` prints them as a table.
"""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Final

import pytest
from tests.cli import bad_input_files

from steybrae.cli import app
from steybrae.errors import FileReadError
from steybrae.quantities import shown_slope_deg

Case = dict[str, Any]

CASES: Final[list[Case]] = json.loads(Path(__file__).with_name("bad_inputs.json").read_text("utf-8"))
REFUSED: Final = [case for case in CASES if isinstance(case["says"], str)]
ANSWERED: Final = [case for case in CASES if not isinstance(case["says"], str)]
LONG_NAME: Final = "a" * 300
OUTPUTS: Final = ("--csv", "out.csv", "--geojson", "out.geojson", "--save", "out.zip")
ALWAYS: Final = ["forecast", "angle_alone", "model_smooths", "start_zones_wide"]

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("inputs")
    bad_input_files.make(folder)
    return folder


@pytest.fixture
def folder(made: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """Work among the files; whatever a command adds is taken away again."""
    monkeypatch.chdir(made)
    before = set(made.rglob("*"))
    yield made
    for path in set(made.rglob("*")) - before:
        path.unlink()


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    def call(*arguments: str) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["steybrae", *arguments])
        with pytest.raises(SystemExit) as stop:
            app.main()
        printed = capsys.readouterr()
        return int(stop.value.code or 0), printed.out, printed.err

    return call


def contents(folder: Path) -> dict[Path, Any]:
    return {path: path.is_file() and path.read_bytes() for path in folder.rglob("*")}


def arguments_of(case: Case) -> list[str]:
    return [word.replace("LONG", LONG_NAME) for word in case["arguments"]]


def label(case: Case) -> str:
    return f"{case['group']}: {case['what']}"


@pytest.mark.parametrize("case", REFUSED, ids=label)
def test_refused_in_one_sentence_and_nothing_touched(case: Case, folder: Path, run: Run) -> None:
    arguments = arguments_of(case)
    if arguments[0] == "route" and case["group"] != "Outputs":
        arguments += OUTPUTS
    before = contents(folder)
    status, out, err = run(*arguments)
    assert (status, out) == (2, "")
    assert err.count("\n") == 1
    said = re.escape(case["says"].replace("LONG", LONG_NAME)).replace("…", ".*")
    assert re.fullmatch(f"steybrae: {said}\n", err)
    assert contents(folder) == before


@pytest.mark.parametrize("case", ANSWERED, ids=label)
def test_answered_with_its_cautions(case: Case, folder: Path, run: Run) -> None:
    status, out, err = run(*arguments_of(case), "--json")
    assert (status, err) == (0, "")
    assert answer(out) == case["says"]
    status, out, err = run(*arguments_of(case), *OUTPUTS)
    assert (status, err) == (0, "")
    added = {"out.csv", "out.csv.cautions.txt", "out.geojson", "out.zip"}
    assert added <= {path.name for path in folder.iterdir()}


def answer(text: str) -> dict[str, Any]:
    """Return what an answer says of the whole line, slopes as shown, whole metres."""
    found = json.loads(text)
    totals = found["totals"]
    slope_deg = totals["slope_max_deg"]
    return {
        "slope_max_deg": None if slope_deg is None else shown_slope_deg(slope_deg),
        "band": totals["band"] and totals["band"]["label"],
        "unknown_m": round(totals["unknown_m"]),
        "open_above": totals["open_above"],
        "cautions": [c["key"] for c in found["cautions"] if c["key"] not in ALWAYS],
    }


def test_what_is_unknown_is_null_all_through(folder: Path, run: Run) -> None:
    _, out, _ = run("route", "r.gpx", "--dem", "void.tif", "--json")
    leg = json.loads(out)["legs"][0]
    for key in ("slope_max_deg", "slope_high_deg", "slope_corridor_max_deg", "elevation_min_m", "band"):
        assert leg[key] is None
    assert leg["bands_possible"] == []
    assert leg["known_share"] == 0.0
    assert leg["unknown_m"] == leg["length_m"]
    assert set(leg["band_lengths_m"].values()) == {0.0}


def test_heights_that_look_like_another_unit(folder: Path, run: Run) -> None:
    said = {}
    for name in ("ok.tif", "cm.tif", "lowcm.tif", "feetunsaid.tif", "feet.tif"):
        _, out, _ = run("route", "r.gpx", "--dem", name, "--json")
        texts = {c["key"]: c["text"] for c in json.loads(out)["cautions"]}
        said[name] = texts.get("unit_doubtful")
    assert said == {
        "ok.tif": None,
        "cm.tif": None,  # no land is that high: unknown, and told as absurd_heights
        "lowcm.tif": "At least half of the line lies on ground of 71 degrees and steeper, where nobody "
        "walks: the heights may be in feet, decimetres or centimetres. State --z-unit, or bring the model to "
        "metres.",
        "feetunsaid.tif": "At least half of the line lies on ground of 66 degrees and steeper, where nobody "
        "walks: the heights may be in feet, decimetres or centimetres. State --z-unit, or bring the model to "
        "metres.",
        "feet.tif": None,
    }


def test_an_output_that_fails_leaves_nothing_half_written(
    folder: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    (folder / "out.csv").write_text("mine")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("steybrae.files.whole.os.fsync", full)
    before = contents(folder)
    status, out, err = run("route", "r.gpx", "--dem", "ok.tif", "--csv", "out.csv", "--force")
    assert (status, out) == (2, "")
    assert err == (
        "steybrae: out.csv could not be written: No space left on device. Nothing was left under that name.\n"
    )
    assert contents(folder) == before


def test_line_breaks_in_a_name_stay_one_line(run: Run) -> None:
    status, _, err = run("route", "no\nsuch\nfile.gpx", "--dem", "x.tif")
    assert (status, err.count("\n")) == (2, 1)


def test_help_of_a_group_without_a_command(run: Run) -> None:
    status, out, err = run("sheet")
    assert (status, err) == (0, "")
    assert "Usage: steybrae sheet" in out


def test_an_error_of_the_system_that_nobody_foresaw(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object, **__: object) -> None:
        raise OSError(5, "Input/output error", "/mnt/x")

    monkeypatch.setattr(app, "app", fail)
    assert run("gap") == (
        2,
        "",
        "steybrae: The system refused: [Errno 5] Input/output error: '/mnt/x'. "
        "Check the file or folder and try again.\n",
    )


@pytest.mark.parametrize("error", [KeyboardInterrupt(), app.typer.Abort()])
def test_ctrl_c_says_nothing(run: Run, monkeypatch: pytest.MonkeyPatch, error: BaseException) -> None:
    def stop(*_: object, **__: object) -> None:
        raise error

    monkeypatch.setattr(app, "app", stop)
    assert run("gap") == (130, "", "")


def test_our_own_errors_are_system_errors_of_ours(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    # FileReadError is an OSError too; its sentence must come out bare.
    def stop(*_: object, **__: object) -> None:
        message = "A file should be here; it is not. Look."
        raise FileReadError(message)

    monkeypatch.setattr(app, "app", stop)
    assert run("gap") == (2, "", "steybrae: A file should be here; it is not. Look.\n")


class TestProcess:
    """A few real processes: what in-process runs cannot show."""

    def start(self, *arguments: str, **options: Any) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-c", "from steybrae.cli.app import main; main()", *arguments]
        return subprocess.Popen(command, stderr=subprocess.PIPE, **options)

    def test_an_error(self, folder: Path) -> None:
        with self.start("route", "r.gpx", "--dem", "nowhere.tif", stdout=subprocess.PIPE) as process:
            out, err = process.communicate(timeout=600)
        assert (process.returncode, out) == (2, b"")
        assert err == (
            b"steybrae: The elevation model nowhere.tif should say where its cells lie; it has no transform. "
            b"Georeference it first.\n"
        )

    @pytest.mark.parametrize("arguments", [("--json",), ()])
    def test_a_reader_that_leaves(self, folder: Path, arguments: tuple[str, ...]) -> None:
        command = ("route", "r.gpx", "--dem", "ok.tif", *arguments)
        with self.start(*command, stdout=subprocess.PIPE) as process:
            assert process.stdout is not None
            assert process.stderr is not None
            process.stdout.close()
            assert process.stderr.read() == b""
            assert process.wait(timeout=600) in (0, 1)

    @pytest.mark.skipif(os.name == "nt", reason="Windows has no SIGINT to send")
    def test_ctrl_c(self, folder: Path) -> None:
        # The reading of the route waits for a writer, so the signal meets the command at work.
        os.mkfifo(folder / "pipe.gpx")
        with (folder / "reading").open("wb") as mark:
            code = (
                "from steybrae.cli.options.model import LineOptions; own = LineOptions.planned_lines\n"
                "def told(*a, **k):\n"
                "    print('reading', flush=True)\n"
                "    return own(*a, **k)\n"
                "LineOptions.planned_lines = told\n"
                "from steybrae.cli.app import main\n"
                "main()"
            )
            command = [sys.executable, "-c", code, "route", "pipe.gpx", "--dem", "ok.tif"]
            with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=mark) as process:
                assert process.stdout is not None
                assert process.stdout.readline() == b"reading\n"
                process.send_signal(signal.SIGINT)
                assert process.wait(timeout=600) == 130
        assert (folder / "reading").read_bytes() == b""


def markdown() -> str:
    """Return all inputs and what each says as tables."""
    lines = []
    group = ""
    for case in CASES:
        if case["group"] != group:
            group = case["group"]
            lines += ["", f"**{group}**", "", "| given | said |", "|---|---|"]
        says = case["says"] if isinstance(case["says"], str) else _in_words(case["says"])
        cells = (cell.replace("LONG", "…").replace("|", "\\|") for cell in (case["what"], says))
        lines.append(f"| {' | '.join(cells)} |")
    return "\n".join(lines).strip()


def _in_words(says: dict[str, Any]) -> str:
    slope = "unknown" if says["slope_max_deg"] is None else f"{says['slope_max_deg']:.1f} degrees"
    least = "at least " if says["open_above"] and says["slope_max_deg"] is not None else ""
    unknown = f", {says['unknown_m']} m unknown" if says["unknown_m"] else ""
    cautions = ", ".join(says["cautions"])
    return f"*answered:* steepest {least}{slope}{unknown}; " + (
        f"cautions: {cautions}" if cautions else "no further caution"
    )


if __name__ == "__main__":
    print(markdown())
