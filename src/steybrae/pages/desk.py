"""The page of the desk and its files: a map to draw a line on, and what the line meets beside it.

Unlike the other pages it does not stand alone: its script asks the program that serves it. The
script formats and computes nothing but positions on the screen; every word and number comes
from `steybrae.desk`.
"""

from __future__ import annotations

from importlib.resources import files
from typing import Final

from steybrae.bands import BandScheme
from steybrae.errors import MissingExtraError
from steybrae.pages.page import band_looks, templates
from steybrae.pages.report.profile import draw_report_profile
from steybrae.screening.pictures.picture import UNKNOWN, Profile
from steybrae.screening.result import RouteScreening

_FILES: Final = (
    "desk.css", "desk.js", "dom.js", "talk.js", "lines.js", "map.js", "tiles.js", "points.js", "answer.js",
    "day.js",
)  # fmt: skip

DAY_FIELDS: Final = (
    ("date", "Date", "2027-01-15"),
    ("start", "Start", "08:30"),
    ("zone", "Time zone", "Europe/London"),
    ("party", "Party", "names"),
    ("call", "Whom to call", "name, number"),
    ("overdue", "When to call", "18:00"),
    ("down_by", "Down by", "15:30"),
    ("scale", "Scale of the map", "1:25000"),
    ("paces", "Paces to 100 m", "62"),
)
"""Name, label and example of each field of the day; the names are those of the commands' options."""


def desk_page(name: str, scheme: BandScheme) -> str:
    """Write the page of a model; its files are those of `static_files`, in ``static/``."""
    fields = [{"name": key, "label": label, "like": like} for key, label, like in DAY_FIELDS]
    page = templates().get_template("desk/desk.html")
    return page.render(name=name, bands=band_looks(scheme), fields=fields)


def profile_html(screening: RouteScreening, profile: Profile) -> str:
    """Write the profile of a line as the report has it, for the page's ``profile``.

    Elements without style or script of their own; across a panel positions are shares of the length
    of the line.
    """
    drawing = draw_report_profile(screening, profile)
    return templates().get_template("profile_panels.html").render(profile=drawing, unknown=UNKNOWN)


EXTRA: Final = ("starlette", "uvicorn", "xstatic")
"""Packages of the extra ``desk``."""

_TYPES: Final = {
    "js": "text/javascript; charset=utf-8",
    "css": "text/css; charset=utf-8",
}

_LIBRARY: Final = ("leaflet.js", "leaflet.css")


def missing_extra() -> MissingExtraError:
    """Return the error of a desk whose packages are not installed."""
    message = (
        "The desk needs packages that are not installed. Install them with: pip install 'steybrae[desk]'."
    )
    return MissingExtraError(message)


def static_files() -> dict[str, tuple[bytes, str]]:
    """Read all that the page may ask for below ``static/``, by name: the bytes, and what they are.

    Nothing else is ever opened, so that no name leads out. `MissingExtraError` without the map
    library.
    """
    found = {name: templates().get_template(f"desk/{name}").render().encode() for name in _FILES}
    try:
        library = files("xstatic.pkg.leaflet") / "data"
    except ModuleNotFoundError as error:
        raise missing_extra() from error
    found |= {name: (library / name).read_bytes() for name in _LIBRARY}
    return {name: (content, _TYPES[name.rpartition(".")[2]]) for name, content in found.items()}
