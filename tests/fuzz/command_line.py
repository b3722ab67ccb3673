"""The command line for the fuzzer: whatever is typed is answered, or refused in one line."""

from __future__ import annotations

import contextlib
import io
import json
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from steybrae.errors import QuantityError

PLACE: Final = "ground 59.2240 -8.0574 --sample"
"""A place on the sample whose slope no option of `MEASURES` names may lower."""

TRUE_DEG: Final = 15.0
"""About its slope on the sample, less what another method may take off (degrees)."""

MEASURES: Final = ("--z", "--dem", "--method", "--engine")

SEEDS: Final = (
    "gap --scale 1:25000 --interval 10m --gap 2.5mm",
    "gap --scale 1:50000 --interval 50ft --gap 3mm --gaps 4 --ruler-error 0.5mm --json",
    "spacing 34deg --scale 1:25000 --interval 10m",
    "spacing 62% --scale 1:10000 --interval 5m --json",
    "reading 31deg 33deg 62%",
    "reading 31deg --observer Ann --map-slope 34deg --note x --json",
    f"{PLACE} --within 20m --json",
    f"{PLACE} --json --vertical-error 1m --correlation 50m --bands 25,30,35",
    f"{PLACE} --json --start-slopes 30-55deg --start-area 400m2 --reach 1km",
    "route --help",
    "sheet --help",
)


def seeds() -> list[bytes]:
    """Return command lines; words are parted by single spaces."""
    return [line.encode() for line in SEEDS]


SETTINGS: Final = (
    '[map]\nscale = "1:25000"\ninterval = "10m"\n',
    '[map]\nscale = "1:25000"\ninterval = "10m"\nruler-error = "0.5mm"\n\n[person]\nobserver = "Ann"\n',
    '[model]\nfor = "stey_massif.tif"\nvertical-error = "1.5m"\nmodel-kind = "lidar"\n',
    '[[model]]\nfor = ["*.tif"]\nz-unit = "m"\n[[model]]\nmethod = "horn"\n[bands]\nbands = "30,35"\n',
)

WITH_SETTINGS: Final = ("spacing 34deg --json", f"{PLACE} --within 20m --json")


def settings_seeds() -> list[bytes]:
    """Return files of settings."""
    return [text.encode() for text in SETTINGS]


def use_settings(main: Callable[[], None], path: Path) -> None:
    """Run a command beside a file of settings, which may not make the answer gentler either."""
    data = path.read_bytes()
    use(main, WITH_SETTINGS[len(data) % 2], data)


def use(main: Callable[[], None], line: str, settings: bytes = b"") -> None:
    """Run a command line; what it says is text, and a refusal is one line."""
    words = line.replace("\0", "").split(" ")
    before, out, err = sys.argv, io.StringIO(), io.StringIO()
    sys.argv = ["steybrae", *words]
    status: Any = 0
    try:
        with (
            tempfile.TemporaryDirectory() as folder,
            contextlib.chdir(folder),
            contextlib.redirect_stdout(out),
            contextlib.redirect_stderr(err),
        ):
            if settings:
                Path("steybrae.toml").write_bytes(settings)
            main()
    except SystemExit as stop:
        status = stop.code or 0
    finally:
        sys.argv = before
    said = err.getvalue()
    assert status in (0, 2), f"it ended with {status}"
    assert "Traceback" not in said, "a traceback"
    if status == 2:
        assert said.startswith("steybrae: "), "a refusal that is not ours"
        assert said.count("\n") == 1, "a refusal of several lines"
        raise QuantityError(said.strip())
    if not settings or b"method" not in settings:
        _not_gentler(line, words, out.getvalue())


def _not_gentler(line: str, words: list[str], said: str) -> None:
    asked = not any(word.startswith((*MEASURES, "--help")) for word in words)
    if line.startswith(f"{PLACE} ") and "--json" in words and asked:
        slope = json.loads(said)["slope_deg"]
        assert slope is None or slope >= TRUE_DEG, "silently gentler than the clean command"
