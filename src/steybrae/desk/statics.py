"""Scripts and styles of the page, by name: ours, and the map library's from its installed package."""

from __future__ import annotations

from importlib.resources import files
from typing import Final

from steybrae.errors import MissingExtraError
from steybrae.pages.desk import desk_files

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
    found = {name: text.encode() for name, text in desk_files().items()}
    try:
        library = files("xstatic.pkg.leaflet") / "data"
    except ModuleNotFoundError as error:
        raise missing_extra() from error
    found |= {name: (library / name).read_bytes() for name in _LIBRARY}
    return {name: (content, _TYPES[name.rpartition(".")[2]]) for name, content in found.items()}
