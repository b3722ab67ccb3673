"""Every command keeps the JSON contract, is described, and judges no ground."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
import re
import sys
from collections.abc import Callable, Iterator
from importlib import resources
from pathlib import Path
from typing import Annotated, Any, Final, Literal

import jsonschema
import pytest
import typer.main
from tests.cli import bad_input_files

from steybrae.cautions import Caution, Situation, cautions_for
from steybrae.cli import app
from steybrae.cli.contract import ANSWERS, add_definition, contract_text
from steybrae.field.log import LogRow
from steybrae.files.logs import append_row
from steybrae.files.results import SCHEMA, json_text
from steybrae.ranges import BearingDeg, NotNegative, Range, SlopeDeg, Words

pytestmark = pytest.mark.usefixtures("screened_once")

ROOT: Final = Path(__file__).resolve().parents[2]
CONTRACT: Final = json.loads(
    resources.files("steybrae.files").joinpath("contract.schema.json").read_text("utf-8")
)

VERDICT: Final = re.compile(r"\b(safe|safely|safety|unsafe|safer|go|goes|no-go|nogo)\b", re.IGNORECASE)
"""Words that would judge ground, or a decision about it."""

MAP: Final = ("--scale", "1:25000", "--interval", "10m")
AT: Final = ("59.2240", "-8.0574")
ON_MODEL: Final = ("--dem", "ok.tif")

EXAMPLES: Final[dict[str, list[tuple[str, ...]]]] = {
    "gap": [
        ("gap", "--gap", "2.5mm", *MAP),
        ("gap", "--gap", "0.4mm", *MAP),
        ("gap", "--across", "12.5mm", "--gaps", "5", *MAP, "--ruler-only", "--edges", "30,40"),
        ("gap", "--across", "10mm", "--index-gaps", "6", "--index-every", "5", *MAP),
    ],
    "spacing": [
        ("spacing", *MAP),
        ("spacing", *MAP, "--index-every", "5", "--slope", "30deg", "--slope", "1in2"),
    ],
    "route": [
        ("route", "--sample"),
        ("route", "r.gpx", *ON_MODEL, "--interval", "10m", "--vertical-error", "1m"),
        ("route", "r.gpx", *ON_MODEL, "--start-slopes", "35-50deg", "--start-area", "0m2", "--reach", "1km"),
        ("route", "r.gpx", "--dem", "void.tif"),
        ("route", "r.gpx", "--dem", "holes.tif"),
        ("route", "part.gpx", *ON_MODEL),
        ("route", "r.gpx", "part.gpx", "--dem", "holes.tif", "--shift", "30m"),
        ("route", "over180.gpx", "--dem", "west.tif", "--dem", "east.tif"),
    ],
    "ground": [
        ("ground", *AT, *ON_MODEL),
        ("ground", *AT, *ON_MODEL, "--epe", "6m", "--epe-confidence", "68"),
        ("ground", *AT, *ON_MODEL, "--start-slopes", "35-50deg", "--start-area", "0.1ha", "--reach", "5km"),
        ("ground", *AT, "--dem", "void.tif"),
        ("ground", *AT, "--dem", "holes.tif", "--within", "200m"),
    ],
    "reading": [
        ("reading", "34deg", "36deg"),
        ("reading", "34deg", "62%", "--gap", "2.5mm", *MAP),
        ("reading", "20deg", "--at", " ".join(AT), *ON_MODEL),
        ("reading", "20deg", "--at", " ".join(AT), "--dem", "void.tif"),
        ("reading", "--review", "log.csv"),
        ("reading", "--review", "empty.csv"),
    ],
    "model": [
        ("model", "--sample", "--model-kind", "lidar"),
        ("model", "ok.tif"),
        ("model", "holes.tif", "--vertical-error", "1m"),
        ("model", "west.tif", "east.tif"),
    ],
    "area": [
        ("area", *ON_MODEL, "--out", "area1", "--force"),
        ("area", "--dem", "holes.tif", "--out", "area2", "--bands", "--edges", "30,40", "--force"),
        ("area", "--dem", "void.tif", "--out", "area3", "--force"),
    ],
    "card": [
        ("card", "--sample", "--date", "2027-01-15", "--start", "08:30", "--zone", "Europe/London"),
        ("card", "r.gpx", *ON_MODEL, "--date", "2027-01-15", "--scale", "1:25000", "--paces", "65"),
        ("card", "r.gpx", "--dem", "void.tif", "--date", "2027-01-15"),
        ("card", "--from", "59.2 -8.0", "--to", "59.21 -8.01", "--date", "2027-01-15"),
    ],
}
"""Command lines of each command that prints JSON, with unknown ground among them."""

WITHOUT_JSON: Final = {
    "report",
    "desk",
    *(f"sheet {kind}" for kind in ("scale", "practice", "error", "field", "first", "lesson")),
}
"""Commands that write files and print no answer."""


def commands() -> Iterator[tuple[str, Any]]:
    """Yield every registered command, those inside groups too."""

    group = typer.main.get_command(app.app)
    for name in app.COMMANDS:
        command = group.get_command(None, name)
        assert command is not None, name
        inner = getattr(command, "commands", None)
        if inner is None:
            yield name, command
        else:
            for part, child in inner.items():
                yield f"{name} {part}", child


NAMES: Final = [name for name, _ in commands()]
LINES: Final = [line for lines in EXAMPLES.values() for line in lines]

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("contract")
    bad_input_files.make(folder)
    time = dt.datetime(2026, 1, 2, 12, 0, tzinfo=dt.UTC)
    for degrees in (33.0, 36.0):
        row = LogRow(
            time, "Ann", "compass", (degrees,), degrees, 4.0, reference_source="m", reference_slope_deg=35.0
        )
        append_row(folder / "log.csv", row)
    with (folder / "log.csv").open("a") as log:
        log.write("half a ro\n")
    (folder / "empty.csv").touch()
    return folder


@pytest.fixture
def run(made: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    def call(*arguments: str) -> tuple[int, str, str]:
        monkeypatch.chdir(made)
        monkeypatch.setattr(sys, "argv", ["steybrae", *arguments])
        with pytest.raises(SystemExit) as stop:
            app.main()
        printed = capsys.readouterr()
        return int(stop.value.code or 0), printed.out, printed.err

    return call


def validator(definition: str) -> jsonschema.Draft202012Validator:
    return jsonschema.Draft202012Validator({"$ref": f"#/$defs/{definition}", "$defs": CONTRACT["$defs"]})


def every(part: Any) -> Iterator[Any]:
    """Yield a JSON value and all within it."""
    yield part
    for inner in part.values() if isinstance(part, dict) else part if isinstance(part, list) else ():
        yield from every(inner)


class TestSchema:
    def test_it_is_a_schema(self) -> None:
        jsonschema.Draft202012Validator.check_schema(CONTRACT)
        assert CONTRACT["$schema"] == "https://json-schema.org/draft/2020-12/schema"

    def test_every_answer_is_one_of_the_definitions(self) -> None:
        listed = [part["$ref"].removeprefix("#/$defs/") for part in CONTRACT["oneOf"]]
        consts = [CONTRACT["$defs"][name]["properties"]["command"]["const"] for name in listed]
        assert consts == listed
        assert listed == list(ANSWERS)
        assert {CONTRACT["$defs"][name]["properties"]["schema"]["const"] for name in listed} == {SCHEMA}

    def test_no_definition_is_left_over(self) -> None:
        used = {part["$ref"] for part in every(CONTRACT) if isinstance(part, dict) and "$ref" in part}
        assert used == {f"#/$defs/{name}" for name in CONTRACT["$defs"]}

    @pytest.mark.parametrize("name", CONTRACT["$defs"])
    def test_objects_are_closed_and_whole_and_every_key_is_described(self, name: str) -> None:
        definition = CONTRACT["$defs"][name]
        assert definition["additionalProperties"] is False
        assert definition["required"] == list(definition["properties"])
        for key, part in definition["properties"].items():
            assert part.get("description"), f"{name}.{key} has no description"

    @pytest.mark.parametrize("name", CONTRACT["$defs"])
    def test_keys_say_their_unit_and_bearings_their_north(self, name: str) -> None:
        for key, part in CONTRACT["$defs"][name]["properties"].items():
            words = part["description"].lower()
            for suffix, unit in (("_deg", "degrees"), ("_m", "metres"), ("_mm", "mm|millimetres")):
                if key.endswith(suffix):
                    assert re.search(unit, words), f"{name}.{key} does not name its unit"
            assert not re.search(r"(^|_)angle($|_)", key)
            if re.search(r"(bearing|aspect).*_deg$", key):
                assert re.search("true|grid|magnetic", key), f"{name}.{key} names no north"

    def test_what_is_stored_is_what_the_types_say(self) -> None:
        stored = resources.files("steybrae.files").joinpath("contract.schema.json").read_text("utf-8")
        same = stored == contract_text()
        assert same, (
            "write it anew: python -m steybrae.cli.contract > src/steybrae/files/contract.schema.json"
        )

    def test_no_attribute_is_described_twice(self) -> None:
        """The later description would take the place of the first."""
        for path in (ROOT / "src" / "steybrae").rglob("*.py"):
            for text in path.read_text("utf-8").split("    Attributes\n    ----------\n")[1:]:
                section = text.partition('"""')[0]
                heads = re.findall(r"^    (\w+(?:, \w+)*)$", section, re.MULTILINE)
                names = [name for head in heads for name in head.split(", ")]
                assert len(names) == len(set(names)), (path.name, names)

    def test_a_class_is_written_by_its_annotations_and_its_docstring(self) -> None:
        found: dict[str, Any] = {}
        add_definition(found, "Made", Made)
        assert found.pop("Inner")["properties"] == {
            "key": {"description": "Where a name ends in an underscore.", "type": "string"}
        }
        made = found.pop("Made")
        assert not found
        assert (made["description"], made["required"]) == ("Something made.", list(made["properties"]))
        assert made["properties"] == {
            "slope_deg": {
                "description": "Its slope; null unknown. Degrees.",
                "type": ["number", "null"],
                "minimum": 0,
                "maximum": 90,
            },
            "bearing_deg": {
                "description": "In degrees from north.",
                "type": "number",
                "minimum": 0,
                "exclusiveMaximum": 360,
            },
            "pair_m": {
                "description": "In metres.",
                "type": "array",
                "prefixItems": [{"type": "number", "minimum": 0}, {"type": "integer"}],
                "items": False,
                "minItems": 2,
            },
            "word": {"description": "One of two.", "enum": ["a", "b", None]},
            "side": {"description": "One of two.", "enum": ["left", "right"]},
            "parts": {
                "description": "By name; never empty.",
                "type": "object",
                "additionalProperties": {"type": "array", "items": {"$ref": "#/$defs/Inner"}, "minItems": 1},
            },
            "maybe": {
                "description": "null where there is none.",
                "anyOf": [{"$ref": "#/$defs/Inner"}, {"type": "null"}],
            },
        }

    def test_a_type_that_json_has_not_is_refused(self) -> None:
        @dataclasses.dataclass(frozen=True)
        class Odd:
            """Odd."""

            number: complex

        with pytest.raises(KeyError, match="complex"):
            add_definition({}, "Odd", Odd)


@dataclasses.dataclass(frozen=True)
class Inner:
    """Inside.

    Attributes
    ----------
    key_
        Where a name
        ends in an underscore.
    """

    key_: str


@dataclasses.dataclass(frozen=True)
class Made:
    """Something made.

    More of it.

    Attributes
    ----------
    slope_deg
        Its slope; None unknown.
    bearing_deg
        In degrees from north.
    pair_m
        In metres.
    word, side
        One of two.
    parts
        By name; never empty.
    maybe
        None where there is none.
    picture
        Not in the JSON.
    """

    slope_deg: SlopeDeg | None
    bearing_deg: BearingDeg
    pair_m: tuple[NotNegative, int]
    word: Annotated[str, Words(("a", "b"))] | None
    side: Literal["left", "right"]
    parts: dict[str, Annotated[tuple[Inner, ...], Range(entries=1)]]
    maybe: Inner | None
    picture: bytes = dataclasses.field(default=b"", metadata={"json": False})


class TestCommands:
    @pytest.mark.parametrize("name", NAMES)
    def test_each_has_a_definition_or_is_marked_as_having_none(self, name: str) -> None:
        command = dict(commands())[name]
        has_json = any("--json" in getattr(option, "opts", ()) for option in command.params)
        if has_json:
            assert name not in WITHOUT_JSON
            assert name in CONTRACT["$defs"], f"name the class of the answer of {name} in cli/contract.py"
            assert EXAMPLES.get(name), f"give command lines of {name} in EXAMPLES"
        else:
            assert name in WITHOUT_JSON, f"{name} has no --json: give it one, or name it in WITHOUT_JSON"

    @pytest.mark.parametrize("arguments", LINES, ids=" ".join)
    def test_answers_keep_the_contract(self, run: Run, arguments: tuple[str, ...]) -> None:
        status, out, err = run(*arguments, "--json")
        assert (status, err) == (0, "")
        answer = json.loads(out, parse_constant=refuse)
        assert answer["command"].split()[0] == arguments[0]
        validator(answer["command"]).validate(answer)
        jsonschema.Draft202012Validator(CONTRACT).validate(answer)
        keys = {caution["key"] for caution in answer["cautions"]}
        assert {"forecast", "angle_alone"} <= keys
        assert not VERDICT.search(out)

    @pytest.mark.parametrize("name", NAMES)
    def test_each_is_described_in_the_readme(self, name: str) -> None:
        text = (ROOT / "README.md").read_text("utf-8")
        top = name.split(maxsplit=1)[0]
        section = re.search(rf"^###? .*\bsteybrae {top}\b.*?(?=^##|\Z)", text, re.MULTILINE | re.DOTALL)
        assert section, f"README.md has no heading for steybrae {top}"
        example = re.search(rf"^ {{4}}(\S*/)?steybrae {name}\b", section[0], re.MULTILINE)
        assert example, f"no example of steybrae {name}"


def refuse(text: str) -> float:
    raise ValueError(text)


class TestNoVerdict:
    @pytest.mark.parametrize("arguments", LINES, ids=" ".join)
    def test_no_output_judges(self, run: Run, arguments: tuple[str, ...]) -> None:
        status, out, err = run(*arguments)  # the JSON: in `TestCommands`
        assert status == 0
        assert not VERDICT.search(out + err)

    def test_no_file_judges(self, run: Run, made: Path) -> None:
        files = ("--csv", "v.csv", "--geojson", "v.geojson", "--force")
        run("route", "r.gpx", "--dem", "holes.tif", *files)
        for name in ("v.csv", "v.csv.cautions.txt", "v.geojson"):
            assert not VERDICT.search((made / name).read_text("utf-8")), name

    @pytest.mark.parametrize("name", ["", *NAMES])
    def test_no_help_judges(self, run: Run, name: str) -> None:
        _, out, _ = run(*name.split(), *(["--help-all"] if name else ["--help"]))
        assert not VERDICT.search(out)

    def test_no_caution_judges(self) -> None:
        yes = {field.name: True for field in dataclasses.fields(Situation) if field.type == "bool"}
        worst = {"unit_doubtful": "x", "unknown_m": 1.0, "cell_size_m": 30.0, "datum_accuracy_m": 50.0}
        known = {name: value for name, value in worst.items() if name in Situation.__dataclass_fields__}
        cautions = cautions_for(Situation(**{**yes, **known}))
        assert len(cautions) > 15
        for caution in cautions:
            assert not VERDICT.search(caution.text), caution

    def test_the_contract_judges_nothing(self) -> None:
        assert not VERDICT.search(json.dumps(CONTRACT))

    def test_the_words_are_found(self) -> None:
        for text in ("This is safe.", "GO", "a no-go", "not Unsafe", "Safely"):
            assert VERDICT.search(text)
        for text in ("ago", "safeguard", "going", "cargo", "gorge"):
            assert not VERDICT.search(text)


def test_unknown_is_null_in_any_result() -> None:
    @dataclasses.dataclass(frozen=True)
    class Some:
        slope_deg: float
        cautions: tuple[Caution, ...] = ()

    assert json.loads(json_text("x", Some(float("nan"))))["slope_deg"] is None
