"""Saved plans: what is written comes back; what lies is refused before it can do harm."""

from __future__ import annotations

import dataclasses
import io
import json
import math
import re
import tracemalloc
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.fuzz.gentler import clean_plan
from tests.on_grid import model, route_on
from tests.synthetic import Plane

from steybrae.bands import STEEP_DEG
from steybrae.cautions import HeightsRead, Situation, cautions_for, joined_cautions
from steybrae.errors import FileReadError, FileWriteError, PlanError, SteybraeError
from steybrae.files import plans
from steybrae.files.model.rasters import open_model
from steybrae.files.plans import PLAN_SCHEMA, read_plan, write_plan
from steybrae.files.results import json_text
from steybrae.files.routes import read_route
from steybrae.forecast.beside import ForecastBeside
from steybrae.forecast.choose import Finding
from steybrae.route.legs import MOST_LEGS, Route
from steybrae.route.positions.places import Place
from steybrae.screening import RouteScreening, Settings, screen_route
from steybrae.screening.pictures.relief import with_relief
from steybrae.screening.sound import sound
from steybrae.terrain.dem import Dem

Tree = dict[str, Any]


@pytest.fixture(scope="module")
def screening(sample_dem: Path) -> RouteScreening:
    """Screen the first legs of the sample day, its unknown patch apart, with the ground round them."""
    route = read_route(sample_dem / "day.gpx")
    short = dataclasses.replace(
        route, points=route.points[:4], turn_points=tuple(turn for turn in route.turn_points if turn < 4)
    )
    with open_model([sample_dem / "stey_massif.tif"]) as model:
        found = screen_route(short, model, Settings(vertical_error_m=1.0))
        return with_relief(found, model)


@pytest.fixture(scope="module")
def good(screening: RouteScreening, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("good") / "plan.zip"
    write_plan(path, screening)
    return path


def alike(one: Any, other: Any, where: str = "result") -> None:
    assert type(one) is type(other), where
    if dataclasses.is_dataclass(one):
        for field in dataclasses.fields(one):
            alike(getattr(one, field.name), getattr(other, field.name), f"{where}.{field.name}")
    elif isinstance(one, np.ndarray):
        assert one.dtype == other.dtype, where
        np.testing.assert_array_equal(one, other, where)
        assert not other.flags.writeable, where
    elif isinstance(one, (tuple, list)):
        assert len(one) == len(other), where
        for k, (a, b) in enumerate(zip(one, other, strict=True)):
            alike(a, b, f"{where}[{k}]")
    elif isinstance(one, dict):
        assert list(one) == list(other), where
        for key in one:
            alike(one[key], other[key], f"{where}.{key}")
    else:
        np.testing.assert_equal(other, one, where)  # NaN is NaN


class TestRoundTrip:
    def test_everything_comes_back(self, screening: RouteScreening, good: Path) -> None:
        alike(screening, read_plan(good))

    def test_unknown_stays_unknown(self, sample_dem: Path, tmp_path: Path) -> None:
        # The leg over the patch without heights: NaN in tables, null and "open above" in the answer.
        route = read_route(sample_dem / "day.gpx")
        part = dataclasses.replace(route, points=route.points[17:19], turn_points=(0, 1))
        with open_model([sample_dem / "stey_massif.tif"]) as model:
            found = screen_route(part, model)
        write_plan(tmp_path / "plan.zip", found)
        again = read_plan(tmp_path / "plan.zip")
        assert again.legs[0].unknown_m > 100.0
        assert again.legs[0].open_above
        assert np.isnan(again.legs[0].points.slope_deg).any()
        alike(found, again)
        assert json_text("route", again) == json_text("route", found)

    def test_the_same_plan_is_the_same_bytes(self, screening: RouteScreening, good: Path) -> None:
        again = good.with_name("again.zip")
        write_plan(again, screening)
        assert again.read_bytes() == good.read_bytes()

    def test_infinite_floats(self, screening: RouteScreening, tmp_path: Path) -> None:
        for value in (np.inf, -np.inf, np.nan):
            settings = dataclasses.replace(screening.settings, interval_m=float(value))
            write_plan(tmp_path / "p.zip", dataclasses.replace(screening, settings=settings), force=True)
            np.testing.assert_equal(read_plan(tmp_path / "p.zip").settings.interval_m, float(value))

    def test_an_existing_plan_is_kept(self, screening: RouteScreening, tmp_path: Path) -> None:
        path = tmp_path / "plan.zip"
        path.write_text("mine")
        with pytest.raises(FileWriteError) as caught:
            write_plan(path, screening)
        assert str(caught.value) == (
            f"{path} exists and is not overwritten. Give another name, or --force to replace it."
        )
        assert path.read_text() == "mine"
        assert [entry.name for entry in tmp_path.iterdir()] == ["plan.zip"]

    def test_no_pickles(self, good: Path) -> None:
        with zipfile.ZipFile(good) as archive:
            for name in archive.namelist():
                if name != "plan.json":
                    np.load(io.BytesIO(archive.read(name)), allow_pickle=False)


class Forged:
    """A plan taken apart, to be changed and put together again.

    It is not packed unless a test asks for it: that took longer than all else.
    """

    packing = zipfile.ZIP_STORED

    def __init__(self, good: Path, folder: Path) -> None:
        self.path = folder / "plan.zip"
        with zipfile.ZipFile(good) as archive:
            self.entries = {name: archive.read(name) for name in archive.namelist()}
        self.tree: Tree = json.loads(self.entries["plan.json"])

    @property
    def result(self) -> Tree:
        return self.tree["result"]  # type: ignore[no-any-return]

    def write(self, text: str | None = None) -> None:
        """Put it together again."""
        self.entries["plan.json"] = (json.dumps(self.tree) if text is None else text).encode()
        with zipfile.ZipFile(self.path, "w", self.packing) as archive:
            for name, data in self.entries.items():
                archive.writestr(name, data)

    def said(self, *, text: str | None = None) -> str:
        """Write it and return what reading says."""
        self.write(text)
        return said(self.path)


def said(path: Path) -> str:
    with pytest.raises((PlanError, FileReadError)) as caught:
        read_plan(path)
    message = str(caught.value)
    assert "\n" not in message
    assert len(message) < 600
    return message


@pytest.fixture
def forged(good: Path, tmp_path: Path) -> Forged:
    return Forged(good, tmp_path)


def not_a_plan(why: str) -> str:
    return f"The plan plan.zip should be a file made with --save; it is not ({why}). Save it again."


def npy(array: Any, *, pickle: bool = False) -> bytes:
    held = io.BytesIO()
    np.save(held, array, allow_pickle=pickle)
    return held.getvalue()


def claim(descr: str, shape: str, data: bytes = b"", version: bytes = b"\1\0") -> bytes:
    """Return a .npy file that says of itself what it likes."""
    text = f"{{'descr': {descr}, 'fortran_order': False, 'shape': {shape}, }}"
    head = text.ljust(117).encode() + b"\n"
    return b"\x93NUMPY" + version + len(head).to_bytes(2, "little") + head + data


class TestContainer:
    def test_missing(self, tmp_path: Path) -> None:
        path = tmp_path / "no.zip"
        assert said(path) == f"The plan {path} should be a file; there is none. Check the path."
        path = tmp_path / ("a" * 300)
        assert said(path) == f"The plan {path} could not be read: File name too long. Check the path."

    @pytest.mark.parametrize("content", [b"", b"hello", b"PK\3\4" + bytes(50)])
    def test_no_zip(self, tmp_path: Path, content: bytes) -> None:
        path = tmp_path / "plan.zip"
        path.write_bytes(content)
        assert said(path) == (
            f"The plan {path} should be a file made with --save; it is not, or is damaged (File is not a "
            "zip file). Make one with steybrae route --save."
        )

    def test_cut_short(self, good: Path, tmp_path: Path) -> None:
        path = tmp_path / "plan.zip"
        path.write_bytes(good.read_bytes()[:-200])
        assert said(path).startswith(f"The plan {path} should be a file made with --save; it is not, or is d")

    def test_damaged_in_the_middle(self, good: Path, tmp_path: Path) -> None:
        path = tmp_path / "plan.zip"
        content = bytearray(good.read_bytes())
        content[200:260] = b"\xff" * 60
        path.write_bytes(content)
        said(path)

    @pytest.mark.parametrize(
        "name",
        [
            "../evil.npy",
            "/etc/evil.npy",
            "a/../../b.npy",
            "C:\\evil.npy",
            "legs/0.npy",
            "x.py",
            "A.npy",
            ".npy",
        ],
    )
    def test_path_tricks(self, forged: Forged, name: str) -> None:
        forged.entries[name] = b"x"
        before = set(forged.path.parent.parent.rglob("*"))
        # zipfile itself turns the separator of Windows into a stroke on Windows only.
        assert forged.said() == not_a_plan(f"its entry {name!r} has no place in a plan")
        assert set(forged.path.parent.parent.rglob("*")) - before == {forged.path}

    @pytest.mark.filterwarnings("ignore:Duplicate name:UserWarning")
    def test_an_entry_twice(self, good: Path, tmp_path: Path) -> None:
        path = tmp_path / "plan.zip"
        path.write_bytes(good.read_bytes())
        with zipfile.ZipFile(path, "a") as archive:
            archive.writestr("plan.json", "{}")
        assert said(path) == not_a_plan("it has too many or repeated entries")

    def test_too_many_entries(self, forged: Forged, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(plans, "MOST_ENTRIES", 10)
        assert forged.said() == not_a_plan("it has too many or repeated entries")

    def test_no_plan_json(self, forged: Forged) -> None:
        with zipfile.ZipFile(forged.path, "w") as archive:
            archive.writestr("a.npy", b"x")
        assert said(forged.path) == not_a_plan("it is too large or has no plan.json")

    def test_a_file_that_is_too_large(self, good: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(plans, "MOST_BYTES", 1000)
        assert said(good) == not_a_plan("it is too large")

    def test_a_bomb_that_says_so(self, forged: Forged) -> None:
        forged.packing = zipfile.ZIP_DEFLATED
        forged.entries["bomb.npy"] = bytes(plans.MOST_BYTES + 1)
        assert forged.said() == not_a_plan("it is too large or has no plan.json")

    def test_a_bomb_that_lies_about_its_size(self, forged: Forged, monkeypatch: pytest.MonkeyPatch) -> None:
        # The directory says 10 bytes; the packed data are 2 MB of zeros.
        forged.packing = zipfile.ZIP_DEFLATED
        monkeypatch.setattr(plans, "MOST_BYTES", 1_000_000)
        forged.entries = {first_array(forged): bytes(2_000_000)}
        forged.said()
        content = forged.path.read_bytes()
        size = (2_000_000).to_bytes(4, "little")
        assert content.count(size) == 2
        forged.path.write_bytes(content.replace(size, (10).to_bytes(4, "little")))
        message = said(forged.path)
        assert message.startswith("The plan ")
        assert "Bad CRC-32" in message

    def test_what_is_read_is_counted_not_what_is_said(
        self, forged: Forged, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        # Every column points at one array: the zip holds little, what it unpacks to is much.
        forged.packing = zipfile.ZIP_DEFLATED
        first = first_array(forged)
        points = forged.result["legs"][0]["points"]
        points.update({name: {"array": first} for name in points})
        forged.entries = {first: forged.entries[first]}
        whole = len(forged.entries[first]) + len(json.dumps(forged.tree))
        monkeypatch.setattr(plans, "MOST_BYTES", whole + 10)
        assert forged.said() == not_a_plan("it unpacks to too much")

    def test_json_of_nothing_but_empty_parts_is_refused_before_it_is_parsed(
        self, forged: Forged, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(plans.json, "loads", lambda *_, **__: pytest.fail("parsed"))
        parts = '{"":0},' * (plans.MOST_TEXT_BYTES // 7)
        assert forged.said(text=f'{{"schema": [{parts}0]}}') == not_a_plan("it unpacks to too much")

    def test_a_locked_entry(self, good: Path, tmp_path: Path) -> None:
        content = bytearray(good.read_bytes())
        for mark, at in ((b"PK\3\4", 6), (b"PK\1\2", 8)):
            for found in re.finditer(re.escape(mark), bytes(content)):
                content[found.start() + at] |= 1
        path = tmp_path / "plan.zip"
        path.write_bytes(content)
        assert said(path) == not_a_plan("it is locked with a password")

    @pytest.mark.parametrize("packing", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA, zipfile.ZIP_STORED])
    def test_another_packing_is_read_and_its_damage_told(
        self, screening: RouteScreening, tmp_path: Path, packing: int
    ) -> None:
        plain = dataclasses.replace(screening, relief=None)
        write_plan(tmp_path / "plain.zip", plain)
        forged = Forged(tmp_path / "plain.zip", tmp_path)
        with zipfile.ZipFile(forged.path, "w", packing) as archive:
            for name, data in forged.entries.items():
                archive.writestr(name, data)
        alike(plain, read_plan(forged.path))
        content = bytearray(forged.path.read_bytes())
        content[60:120] = b"\xaa" * 60
        forged.path.write_bytes(content)
        said(forged.path)


def first_array(forged: Forged) -> str:
    return next(name for name in forged.entries if name.endswith("chainage_m.npy"))


class TestJson:
    def test_schema(self, forged: Forged) -> None:
        forged.tree["schema"] = "another/9"
        assert forged.said() == not_a_plan(f"its schema is 'another/9', expected {PLAN_SCHEMA!r}")
        assert forged.said(text="[]") == not_a_plan(f"its schema is 'list', expected {PLAN_SCHEMA!r}")
        assert forged.said(text=f'{{"schema": "{PLAN_SCHEMA}"}}') == (
            "The plan's result should be an object; got None. Save the plan again."
        )

    @pytest.mark.parametrize("form", ["steybrae-plan/2", "steybrae-plan/5", "steybrae-plan/99"])
    def test_a_plan_of_another_version_is_refused_in_a_sentence(self, forged: Forged, form: str) -> None:
        """An older one may hold checks on ground where one may not stand, and ends of one part."""
        forged.tree["schema"] = form
        assert forged.said() == (
            f"The plan {forged.path.name} should have the form {PLAN_SCHEMA}; it has {form}, of another "
            "version of steybrae. Screen the line again, and save it."
        )

    @pytest.mark.parametrize(
        ("text", "why"),
        [
            ("", "Expecting value: line 1 column 1 (char 0)"),
            ("{", "Expecting property name enclosed in double quotes: line 1 column 2 (char 1)"),
            ('{"schema": NaN}', "NaN is no JSON number"),
            ('{"schema": -Infinity}', "-Infinity is no JSON number"),
        ],
    )
    def test_no_json(self, forged: Forged, text: str, why: str) -> None:
        assert forged.said(text=text) == not_a_plan(why)

    def test_deep_nesting(self, forged: Forged) -> None:
        assert "recursion" in forged.said(text="[" * 100_000)

    def test_not_utf8(self, forged: Forged) -> None:
        with zipfile.ZipFile(forged.path, "w") as archive:
            archive.writestr("plan.json", b'{"schema": "\xff"}')
        assert "codec can't decode byte 0xff" in said(forged.path)

    @pytest.mark.parametrize(
        ("change", "message"),
        [
            (
                lambda r: r.pop("legs"),
                "result should have the keys of RouteScreening; 'legs' are missing or unknown.",
            ),
            (
                lambda r: r.update(extra=1),
                "result should have the keys of RouteScreening; 'extra' are missing or unknown.",
            ),
            (lambda r: r.update(name=3), "result.name should be str; got 3."),
            (lambda r: r.update(name=None), "result.name should be str; got None."),
            (lambda r: r.update(legs={}), "result.legs should be a list; got {}."),
            (lambda r: r.update(legs=[3]), "result.legs[0] should be an object; got 3."),
            (lambda r: r["totals"].update(legs=3.5), "result.totals.legs should be int; got 3.5."),
            (lambda r: r["totals"].update(legs=True), "result.totals.legs should be int; got True."),
            (lambda r: r["totals"].update(length_m="9"), "result.totals.length_m should be float; got '9'."),
            (
                lambda r: r["totals"].update(length_m=True),
                "result.totals.length_m should be float; got True.",
            ),
            (lambda r: r["totals"].update(open_above=0), "result.totals.open_above should be bool; got 0."),
            (
                lambda r: r["totals"].update(open_above=None),
                "result.totals.open_above should be bool; got None.",
            ),
            (
                lambda r: r["totals"].update(band_lengths_m=[]),
                "result.totals.band_lengths_m should be an object",
            ),
            (
                lambda r: r["model"].update(cell_size_m=[1.0, 2.0, 3.0]),
                "result.model.cell_size_m should be a list of 2; got [1.0, 2.0, 3.0].",
            ),
            (
                lambda r: r["totals"].update(length_m={"float": "1e5"}),
                "result.totals.length_m should be float; got {'float': '1e5'}.",
            ),
            (
                lambda r: r["legs"][0]["points"].update(known="x.npy"),
                "result.legs[0].points.known should be an array; got 'x.npy'.",
            ),
            (
                lambda r: r["legs"][0].update(points={"array": "a.npy"}),
                "result.legs[0].points should have the keys of LegPoints; 'aspect_true_deg', 'chainage_m', "
                "'corridor_deg', 'elevation_m' are missing or unknown.",
            ),
        ],
    )
    def test_wrong_types(self, forged: Forged, change: Callable[[Tree], Any], message: str) -> None:
        change(forged.result)
        found = forged.said()
        assert found.startswith(f"The plan's {message}")
        assert found.endswith("Save the plan again.")

    @pytest.mark.parametrize(
        ("number", "message"),
        [
            ("1e999", "The plan's result.totals.length_m should be float; got inf. Save the plan again."),
            ("NaN", not_a_plan("NaN is no JSON number")),
            ("1" + "0" * 400, not_a_plan("int too large to convert to float")),
        ],
    )
    def test_numbers_without_end(self, forged: Forged, number: str, message: str) -> None:
        forged.result["totals"]["length_m"] = "HERE"
        assert forged.said(text=json.dumps(forged.tree).replace('"HERE"', number)) == message

    def test_half_a_surrogate_pair(self, forged: Forged) -> None:
        forged.result["name"] = "\ud800"
        assert "result.name should be plain text; got '\\ud800'" in forged.said()

    def test_a_grid_that_is_none(self, forged: Forged) -> None:
        forged.result["relief"]["grid"]["shape"] = [1, 1]
        assert forged.said() == not_a_plan("the arrays of the map differ in shape")


class Evil:
    """Would make a file if ever unpickled."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def __reduce__(self) -> tuple[Any, ...]:
        return Path.touch, (self.path,)


class TestArrays:
    def test_a_pickle_is_never_run(self, forged: Forged) -> None:
        mark = forged.path.with_name("was-run")
        forged.entries[first_array(forged)] = npy(np.array([Evil(mark)], dtype=object), pickle=True)
        assert "an array of object and shape (1,) does not fit" in forged.said()
        assert not mark.exists()

    def test_a_huge_claim_costs_nothing(self, forged: Forged) -> None:
        forged.entries[first_array(forged)] = claim("'<f8'", "(10000000000000,)", bytes(80))
        tracemalloc.start()
        try:
            assert "shape (10000000000000,) does not fit its" in forged.said()
            assert tracemalloc.get_traced_memory()[1] < 30e6
        finally:
            tracemalloc.stop()

    @pytest.mark.parametrize(
        "data",
        [
            claim("'<f8'", "(-10,)", bytes(80)),
            claim("'<f8'", "(3,)", bytes(80)),
            claim("'<f8'", "(99999999999999999999999, 0)"),
            claim("'<f8'", "('x',)"),
            claim("__import__('os')", "(1,)", bytes(8)),
            claim("'O'", "(10,)", bytes(80)),
            claim("[('a', 'O')]", "(10,)", bytes(80)),
            claim("'<f8'", "(10,", bytes(80)),
            claim("'<f8'", "(10,)", bytes(80), b"\3\0"),
            claim("'V0'", "(10,)"),
            claim("'<f8'", "(10L,)", bytes(80)),
            b"\x93NUMPY\1\0\xff\xff{",
            b"hello",
            b"",
        ],
    )
    def test_headers_that_lie(self, forged: Forged, data: bytes) -> None:
        forged.entries[first_array(forged)] = data
        forged.said()

    @pytest.mark.parametrize("kind", ["float32", ">f8", "int64", "complex128", "S8", "bool", "datetime64[s]"])
    def test_another_type(self, forged: Forged, kind: str) -> None:
        forged.entries[first_array(forged)] = npy(np.zeros(10).astype(kind))
        assert forged.said().startswith(
            "The plan's result.legs[0].points.chainage_m should be an array of float64; got "
        )

    @pytest.mark.parametrize("array", [np.zeros(3), np.zeros(0), np.zeros((3, 2)), np.array(1.0)])
    def test_columns_of_different_length(self, forged: Forged, array: Any) -> None:
        forged.entries[first_array(forged)] = npy(array)
        assert forged.said() == not_a_plan("the arrays of leg 1 differ in shape")

    def test_a_missing_array(self, forged: Forged) -> None:
        del forged.entries[first_array(forged)]
        assert forged.said() == not_a_plan("its array 'legs.0.points.chainage_m.npy' is missing")


def test_whatever_byte_is_changed_the_answer_is_ours(good: Path, tmp_path: Path) -> None:
    content = good.read_bytes()
    random = np.random.default_rng(7)
    path = tmp_path / "plan.zip"
    for _ in range(50):
        changed = bytearray(content)
        for _ in range(int(random.integers(1, 6))):
            changed[int(random.integers(len(changed)))] = int(random.integers(256))
        path.write_bytes(changed)
        try:
            read_plan(path)
        except SteybraeError:
            continue


def changed(place: str, value: Any) -> Callable[[Tree], None]:
    """Return what puts a value at a place such as ``legs.0.band``."""

    def change(result: Tree) -> None:
        *way, last = place.split(".")
        at: Any = result
        for part in way:
            at = at[int(part)] if part.isdigit() else at[part]
        at[int(last) if last.isdigit() else last] = value

    return change


def gentler_sight(result: Tree) -> None:
    """Make a sight lower whose source would lie elsewhere, wherever its angle stands."""
    over = result["legs"][1]["overhead"]
    for one in (over["sight"], over["sight_outside"]):
        one["distance_m"] *= 2.0
        one["deg"] = math.degrees(math.atan2(one["rise_m"], one["distance_m"]))


def known_above(result: Tree) -> None:
    """Forget unknown ground above all legs, and say so in the totals."""
    result["totals"]["unknown_above"] = False
    for leg in result["legs"]:
        leg["unknown_above"], leg["unknown_above_at"] = False, None


def gentler_trap(result: Tree) -> None:
    """Make a trap gentler with its leg and with its place and its words."""
    place = result["places"][0]
    for trap in (result["legs"][0]["terrain_traps"][0], place["trap"]):
        trap["slope_deg"] = 36.0
    place["words"] = place["words"].replace("snow off 43.5°", "snow off 36.0°")


def nothing_open(result: Tree) -> None:
    """Make the sight from outside a hidden one that is gentler."""
    sight = result["legs"][0]["overhead"]["sight_outside"]
    gone = ("deg", "distance_m", "rise_m", "bearing_true_deg", "place", "stand", "chainage_m", "top")
    sight.update(dict.fromkeys(gone), unfiltered_deg=30.0)


def _without_cautions(found: RouteScreening) -> RouteScreening:
    assert found.forecast is not None
    return dataclasses.replace(found, cautions=(), forecast=dataclasses.replace(found.forecast, cautions=()))


class TestTampered:
    """A plan that somebody changed by hand: what follows from its parts is worked out anew or refused."""

    def test_cautions_come_back(self, forged: Forged, screening: RouteScreening) -> None:
        forged.result["cautions"] = []
        for leg in forged.result["legs"]:
            leg["cautions"] = []
        forged.write()
        found = read_plan(forged.path)
        # That the model has a tarn only reading its heights tells.
        assert found.cautions == tuple(c for c in screening.cautions if c.key != "same_heights")
        assert {c.key for c in found.legs[0].cautions} == {c.key for c in screening.legs[0].cautions}

    def test_a_caution_reworded_is_ours_again_and_one_of_others_refused(
        self, forged: Forged, screening: RouteScreening
    ) -> None:
        forged.result["cautions"][0]["text"] = "All is well."
        forged.write()
        assert read_plan(forged.path).cautions == screening.cautions
        forged.result["cautions"].append({"key": "sample", "text": "Go."})
        assert forged.said() == (
            "The cautions of a plan should be ours, word for word; 'sample' is not. Save the plan again."
        )

    def test_findings_on_its_forecast_come_back(self, screening: RouteScreening, tmp_path: Path) -> None:
        finding = Finding("region_not_checked", "No region was given. Give --region.")
        brought = (finding.caution, *cautions_for(Situation(bulletin=True)))
        parts: dict[str, Any] = {
            "file": "b.json", "region_asked": None, "start": None, "end": None, "treeline_m": None,
            "least_slope_deg": 30.0, "start_from_deg": 25.0, "bulletins": (), "legs": (), "place": (),
            "notes": (), "words": (),
        }  # fmt: skip
        forecast = ForecastBeside(**parts, findings=(finding,), cautions=brought)
        held = (*screening.cautions, finding.caution)
        whole = dataclasses.replace(screening, forecast=forecast, cautions=joined_cautions(brought, held))
        for name, tampered in (("whole", whole), ("none", _without_cautions(whole))):
            write_plan(tmp_path / f"{name}.zip", tampered)
            back = read_plan(tmp_path / f"{name}.zip")
            assert back.forecast is not None
            assert set(back.forecast.cautions) == set(brought)
            # That the model has a tarn only reading its heights tells.
            met = {c for c in whole.cautions if name == "none" and c.key == "same_heights"}
            assert set(back.cautions) == set(whole.cautions) - met

    def test_cautions_that_rest_on_what_no_plan_keeps_stay(
        self, screening: RouteScreening, tmp_path: Path
    ) -> None:
        words = (
            "The numbers of the model become heights by a scale and an offset that its files state: 0.1 and "
            "0 (a.tif). Where they are wrong every slope is: compare a height with the map."
        )
        heights = HeightsRead(absurd_share=0.123, same_share=0.0001, scaling=words)
        more = cautions_for(Situation(sample=True, places_swapped=True, heights=heights))[2:]
        told = ["absurd_heights", "same_heights", "scaled_heights"]
        assert [caution.key for caution in more] == ["sample", "swapped", *told]
        held = joined_cautions(screening.cautions, more)
        write_plan(tmp_path / "p.zip", dataclasses.replace(screening, cautions=held))
        assert read_plan(tmp_path / "p.zip").cautions == held

    @pytest.mark.parametrize(
        ("change", "what"),
        [
            (changed("legs", []), "it should have legs numbered from 1"),
            (changed("legs.0.number", 7), "it should have legs numbered from 1"),
            (changed("totals.slope_max_deg", 12.0), "its totals are not those of its legs"),
            (changed("totals.unknown_m", 99.0), "its totals are not those of its legs"),
            (changed("totals.open_above", None), "totals.open_above should be bool"),
            (changed("legs.0.slope_low_deg", 89.0), "in leg 1 the steepest slope lies outside"),
            (
                changed("legs.0.slope_high_deg", None),
                "in leg 1 no upper end is known and it is not open above",
            ),
            (changed("legs.0.band", None), "in leg 1 the band is not that of its steepest slope"),
            (changed("legs.0.bands_possible", []), "in leg 1 the possible bands are not those"),
            (
                changed("legs.0.unknown_m", 50.0),
                "in leg 1 the metres in bands and of unknown ground do not add",
            ),
            (changed("legs.0.length_m", 0.0), "in leg 1 lengths are not numbers of metres"),
            (changed("legs.0.length_m", {"float": "inf"}), "in leg 1 lengths are not numbers of metres"),
            (changed("legs.0.band_lengths_m", {}), "in leg 1 the bands are not those of its edges"),
            (changed("legs.0.steep_m", 1e6), "in leg 1 steep ground is longer than itself"),
            (
                changed("legs.1.slope_corridor_high_deg", 20.0),
                "in leg 2 the upper end of its corridor lies below what is in it",
            ),
            (changed("legs.0.elevation_min_m", 8000.0), "in leg 1 the lowest height lies above the highest"),
            (changed("settings.edges_deg", list(range(1, 80))), "should have at most 40 edges; got 79"),
            (changed("settings.edges_deg", [10.0, 20.0]), "in leg 1 the bands are not those of its edges"),
            (changed("places", []), "has no place that matters and is not named as without"),
            (changed("legs_without", [1, 2, 3]), "is named as without a place that matters and has one"),
            (
                lambda r: [place.update(slope_max_deg=1.0, kinds=["underfoot"]) for place in r["places"]],
                "is steeper than its steepest slope",
            ),
            (changed("places.0.length_m", 1.0), "place A is not as long as from one end of it to the other"),
            (changed("relief.grid.crs_wkt", "<b>"), "its map should have a CRS that PROJ knows"),
            (changed("relief.corridor_grid.crs_wkt", ""), "its map should have a CRS that PROJ knows"),
            (changed("places.0.words", "Gentle."), "the words of place A are not those of its figures"),
            (
                changed("places.0.unknown_on_line_m", 9e3),
                "the metres of unknown ground of place A are too few",
            ),
            (
                changed("legs.0.slope_corridor_max_deg", None),
                "in leg 1 the corridor is gentler than the line in it",
            ),
            (
                lambda r: r["legs"][0].update(slope_corridor_max_deg=r["legs"][0]["slope_max_deg"]),
                "in leg 1 its corridor is steeper abreast of a point than at its steepest",
            ),
            (changed("legs.0.slope_max_deg", 95.0), "in leg 1 a slope lies outside 0 to 90 degrees"),
            (changed("legs.0.slope_high_deg", 95.0), "in leg 1 an end of its interval lies outside"),
            (changed("legs.1.overhead.sight.deg", None), "in leg 2 a sight has a distance and no angle"),
            (changed("model.cell_size_m", [0.0, 0.0]), "cells of a size and a height unit"),
            (
                changed("legs.1.overhead.sight.deg", 19.0),
                "above leg 2 a sight is not its rise over its distance",
            ),
            (changed("legs.1.overhead.sight.rise_m", 9.0), "a sight is not its rise over its distance"),
            (gentler_sight, "above leg 2 a sight is not its rise over its distance"),
            (
                changed("legs.1.overhead.sight", None),
                "above leg 2 the steepest sight is not that of the points",
            ),
            (changed("legs.1.overhead.sight_outside", None), "there is a sight, and none from outside"),
            (changed("legs.1.overhead.sight.unfiltered_deg", 19.0), "the steepest sight is not that of"),
            (changed("legs.1.overhead.start_from_deg", 40.0), "the start zones above leg 2 are not those"),
            (
                changed("legs.1.overhead.path.path_m", 1.0),
                "above leg 2 a path is shorter than it is straight",
            ),
            (changed("legs.1.unknown_above", False), "is said to be there and not to be there"),
            (known_above, "unknown ground above place"),
            (changed("legs.1.short_corridor_max_deg", 0.5), "a short piece is no steeper than what it is"),
            (
                changed("legs.1.elevation_max_m", 300.0),
                "in leg 2 a point lies below its lowest height or above",
            ),
            (changed("legs.1.ascent_m", 100.0), "in leg 2 its points climb or descend further than it"),
            (
                changed("legs.1.overhead.possible_deg", 20.0),
                "possible start zones stand lower than start zones",
            ),
            (
                changed("relief.places.0.text", "A"),
                "its map and profile are not those of its legs and places",
            ),
            (changed("relief.legs.1.number", 3), "its map and profile are not those of its legs and places"),
        ],
    )
    def test_contradictions(self, forged: Forged, change: Callable[[Tree], None], what: str) -> None:
        change(forged.result)
        assert what in forged.said()

    def test_points_forgotten_along_the_line_are_missed_by_its_places(self, forged: Forged) -> None:
        for name in ("known", "elevation_m"):
            entry = f"legs.0.points.{name}.npy"
            values = np.load(io.BytesIO(forged.entries[entry]))
            values[:] = np.nan if name == "elevation_m" else False
            forged.entries[entry] = npy(values)
        leg = forged.result["legs"][0]
        leg.update(unknown_m=leg["length_m"], open_above=True, unknown_above=False)
        leg.update(band_lengths_m=dict.fromkeys(leg["band_lengths_m"], 0.0))
        assert "the metres of unknown ground of place A are too few" in forged.said()

    def test_slopes_made_gentler_everywhere_but_along_the_line(
        self, forged: Forged, screening: RouteScreening
    ) -> None:
        """Figures and totals that agree with each other, and not with the points of the leg."""
        leg, totals = forged.result["legs"][0], forged.result["totals"]
        gentle = {"low_deg": 0.0, "high_deg": 25.0, "label": "<25"}
        lengths = dict.fromkeys(leg["band_lengths_m"], 0.0)
        leg.update(slope_max_deg=5.0, slope_low_deg=4.0, slope_high_deg=6.0, slope_corridor_max_deg=5.0)
        leg.update(band=gentle, bands_possible=[gentle])
        leg.update(band_lengths_m={**lengths, "<25": leg["length_m"]}, steep_m=0.0)
        assert totals["legs"] == len(screening.legs)
        assert "in leg 1 a point is steeper than its steepest slope" in forged.said()


@pytest.fixture
def steep(tmp_path: Path) -> Forged:
    """A plan of three legs and three places: overhead, unknown, and steep underfoot."""
    (tmp_path / "steep").mkdir()
    good = tmp_path / "steep" / "good.zip"
    good.write_bytes(clean_plan())
    return Forged(good, tmp_path / "steep")


class TestPlacesTampered:
    """Places against the legs and their points."""

    @pytest.mark.parametrize("gone", [[0], [1], [2], [0, 1], [0, 2], [1, 2], [0, 1, 2]])
    def test_places_left_out_are_missed_by_the_legs(self, steep: Forged, gone: list[int]) -> None:
        """The others named anew, and legs without any named as those that are possible only."""
        places = steep.result["places"]
        assert len(places) == 3
        left = [place for k, place in enumerate(places) if k not in gone]
        for place, name in zip(left, "ABC", strict=False):
            place.update(name=name)
        on = {n for place in left for n in range(place["from_"]["leg"], place["to"]["leg"] + 1)}
        steep.result["legs_possible_only"] = [{"leg": n, "metres": 1.0} for n in {1, 2, 3} - on]
        steep.result["places"] = left
        assert "is on no place" in steep.said()

    @pytest.mark.parametrize(
        ("change", "what"),
        [
            (lambda r: r["places"].append(r["places"][-1]), "its places are not named from A on"),
            (lambda r: r["places"].pop(0), "its places are not named from A on"),
            (changed("places.0.from_.at_m", 50.0), "place A does not lie on the line"),
            (changed("places.1.to.leg", 4), "place B does not lie on the line"),
            (changed("places.0.unknown_m", -1.0), "the metres of unknown ground of place A are too few"),
            (changed("places.2.unknown_m", 200.0), "unknown ground of place B is known on place C"),
            (changed("places.2.kinds", ["trap"]), "steep ground of the line is on no place"),
            (changed("places.0.overhead.deg", 26.0), "what stands over leg 1 is on no place"),
            (changed("legs.2.steep_m", 0.1), "in leg 3 steep ground is shorter than its metres in bands"),
            (changed("legs.2.steep_stretch_m", 0.0), "in leg 3 steep ground has metres and no stretch"),
            (changed("legs.1.length_m", 200.0), "in leg 2 the metres in bands and of unknown ground"),
            (
                changed("places.2.corridor.slope_max_deg", 40.0),
                "the corridor of place C is gentler than what",
            ),
            (changed("places.2.corridor.slope_high_deg", 44.0), "upper end of the corridor of place C lies"),
            (changed("places.2.slope_high_deg", 43.0), "steepest slope of place C lies outside its own"),
            (changed("places.1.open_above", False), "something of place B is unknown and it is not open"),
            (changed("places.2.steep_m", 20.0), "steep ground of leg 1 is longer than that of its places"),
            (
                lambda r: r["places"][2].update(slope_max_deg=46.0, corridor=None),
                "C is steeper than its legs",
            ),
            (changed("places.0.overhead.quantity", "path"), "what stands over place A is no sight"),
            (changed("places.2.at_length", False), "the places told at length are not those that lead"),
            (changed("places.0.again", "C"), "places are not the ground that they are called again"),
            (
                changed("places.2.elevation_max_m", 200.0),
                "a point of place C lies below its lowest height or",
            ),
            (
                changed("legs.2.track_grade_max_deg", 9.0),
                "a point climbs or falls more steeply than the line",
            ),
            (changed("legs.2.steep_without_check.0.slope_max_deg", 31.0), "without a check is gentler"),
            (changed("legs.0.steep_without_check.0.at_least", False), "open above, and steep ground without"),
            (changed("places.0.trap.slope_deg", 36.0), "the trap of place A is not the most marked"),
            (changed("places.0.trap", None), "place A is a trap without one, or has one and is none"),
            (changed("legs.0.terrain_traps", []), "the trap of place A is not the most marked of its legs"),
        ],
    )
    def test_places_made_gentler(self, steep: Forged, change: Callable[[Tree], None], what: str) -> None:
        change(steep.result)
        for place in steep.result["places"]:
            place["words"] = "Whatever."
        assert what in steep.said()

    @pytest.mark.parametrize(
        ("change", "what"),
        [
            (
                changed("legs.2.overhead.in_possible_zone", False),
                "above leg 3 start zones are no possible ones",
            ),
            (changed("legs.2.overhead.in_possible_zone_m", 1.0), "start zones are longer than possible ones"),
            (gentler_trap, "above leg 1 the words of a trap or a roll are not those of its figures"),
            (nothing_open, "what stands over place A is steeper than what stands over its legs"),
        ],
    )
    def test_start_zones_made_gentler(self, steep: Forged, change: Callable[[Tree], None], what: str) -> None:
        change(steep.result)
        assert what in steep.said()

    def test_a_corridor_beside_level_ground(self) -> None:
        """A line along the foot of a slope of 63 degrees that begins within its corridor."""
        heights = np.broadcast_to(20.0 * np.maximum(np.arange(60) - 33.0, 0.0), (60, 60))
        dem = Dem(model(Plane(0.0, 0.0), (60, 60), 10.0).grid, heights)
        found = screen_route(route_on(dem, [(0.0, -200.0), (0.0, 200.0)], ("A", "B")), dem)
        assert found.legs[0].steep_m == 0.0
        assert (found.legs[0].slope_corridor_max_deg or 0.0) > STEEP_DEG
        assert sound(found).places == found.places
        gentler = tuple(dataclasses.replace(place, corridor=None) for place in found.places)
        with pytest.raises(PlanError, match="the corridor of place A is steeper abreast of a point than"):
            sound(dataclasses.replace(found, places=gentler))
        (one,) = found.places
        assert one.corridor is not None
        level = dataclasses.replace(one, corridor=dataclasses.replace(one.corridor, drop=None))
        with pytest.raises(PlanError, match="the drop of leg 1 is on no place"):
            sound(dataclasses.replace(found, places=(level,)))
        other = tuple(dataclasses.replace(place, kinds=("overhead", "unknown")) for place in found.places)
        with pytest.raises(PlanError, match="steep ground of the corridor is on no place"):
            sound(dataclasses.replace(found, places=other))


def test_true_plans_are_sound(sample_plan: Any) -> None:
    """A corridor holds the line in it, and its upper end the short pieces beside unknown ground."""
    found = sample_plan.screening
    assert sound(found).places == found.places
    for place in found.places:
        if place.corridor is not None:
            assert place.corridor.slope_max_deg >= (place.slope_max_deg or 0.0)
    rng, grid = np.random.default_rng(5), model(Plane(0.0, 0.0), (160, 160), 2.0).grid
    for _ in range(6):
        heights = rng.normal(0.0, 1.0, (160, 160)).cumsum(axis=1)
        for row, col in rng.integers(20, 130, (12, 2)):
            heights[row : row + 3, col : col + 3] = np.nan
        dem = Dem(grid, heights)
        rough = screen_route(route_on(dem, [(-100.0, -90.0), (90.0, 100.0)]), dem, Settings(reach_m=20.0))
        assert sound(rough).places == rough.places


def test_what_lies_at_a_turn_point_may_be_told_with_either_leg(shared_data: Path) -> None:
    """The steepest of leg 2, and what stands over it, are its first cell's, and told with leg 1."""
    turns = (Place(34.395, -118.0918), Place(34.40774269, -118.10222217), Place(34.42, -118.1008))
    with open_model([shared_data / "terrain" / "big_tujunga_30m.tif"]) as dem:
        found = screen_route(Route("", turns, (0, 1, 2)), dem, Settings(drift_deg=8.0))
    assert found.legs[1].overhead.sight_outside.chainage_m < 0.01
    assert sound(found).places == found.places


@pytest.mark.parametrize("cell_m", [2.0, 10.0, 30.0])
def test_plans_of_lines_that_turn_on_hills_are_sound(cell_m: float) -> None:
    """Beside unknown ground a point may be known where the surface between the cells is not."""
    rng, grid = np.random.default_rng(3), model(Plane(0.0, 0.0), (120, 120), cell_m).grid
    wave = np.hypot(*np.meshgrid(np.fft.fftfreq(120), np.fft.fftfreq(120)))
    wave[0, 0] = 1.0
    for fall in (1.2, 1.6, 2.0, 2.4):
        hills = np.fft.ifft2(np.fft.fft2(rng.normal(size=(120, 120))) / wave**fall).real
        heights = hills / np.median(np.hypot(*np.gradient(hills))) * 0.5 * cell_m
        for row, col in rng.integers(0, 110, (8, 2)):
            heights[row : row + 3, col : col + 3] = np.nan
        dem = Dem(grid, heights)
        for _ in range(3):
            turns = [tuple(at) for at in rng.uniform(-50.0 * cell_m, 50.0 * cell_m, (4, 2)).tolist()]
            found = screen_route(route_on(dem, turns), dem, Settings(reach_m=5.0 * cell_m))
            assert sound(found).places == found.places


def test_a_plan_of_a_track_that_winds_is_sound() -> None:
    """Its legs are longer than its points are apart; a shorter length is refused still."""
    dem, rng = model(Plane(0.4, 0.2), (160, 160), 5.0), np.random.default_rng(7)
    walked = [(-200.0 + 2.0 * n, float(y)) for n, y in enumerate(rng.normal(0.0, 3.0, 200))]
    route = dataclasses.replace(route_on(dem, walked), turn_points=(0, 90, 199))
    found = screen_route(route, dem, Settings(reach_m=20.0))
    assert sound(found).places == found.places
    short = dataclasses.replace(found.legs[0], length_m=found.legs[0].length_m - 0.5)
    with pytest.raises(PlanError, match=r"leg 1 .*length"):
        sound(dataclasses.replace(found, legs=(short, *found.legs[1:])))


def test_a_plan_of_1000_legs_is_read_again(
    sample_dem: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As many legs as may be chosen, with all that a plan can hold of each; 20 here stand for them."""
    route = read_route(sample_dem / "day.gpx")
    points = route.points[:2] * 10 + route.points[:1]
    to_and_fro = dataclasses.replace(route, points=points, turn_points=tuple(range(21)))
    with open_model([sample_dem / "stey_massif.tif"]) as model:
        whole = with_relief(screen_route(to_and_fro, model, Settings(reach_m=20.0), for_forecast=True), model)
    write_plan(tmp_path / "p.zip", whole)
    with zipfile.ZipFile(tmp_path / "p.zip") as archive:
        assert len(archive.namelist()) / 20 * MOST_LEGS <= plans.MOST_ENTRIES
    monkeypatch.setattr(plans, "MOST_ENTRIES", plans.MOST_ENTRIES // (MOST_LEGS // 20))
    alike(whole, read_plan(tmp_path / "p.zip"))
