"""Scripts and styles of the page, by name: ours, and the map library's from its installed package."""

from __future__ import annotations

from importlib.resources import files
from typing import Final

from steybrae.errors import MissingExtraError

_TYPES: Final = {
    "js": "text/javascript; charset=utf-8",
    "css": "text/css; charset=utf-8",
    "svg": "image/svg+xml",
    "png": "image/png",
}

_LIBRARY: Final = ("leaflet.js", "leaflet.css")


def missing_extra() -> MissingExtraError:
    """Return the error of a desk whose packages are not installed."""
    message = (
        "The desk needs packages that are not installed. Install them with: pip install 'steybrae[desk]'."
    )
    return MissingExtraError(message)


def static_files() -> dict[str, tuple[bytes, str]]:
    """Read all that the page may ask for below ``static/``.

    Returns
    -------
    dict
        By name: the bytes, and what they are. Nothing else is ever opened, so that no name leads out.

    Raises
    ------
    MissingExtraError
        The map library is not installed.
    """
    own = files("steybrae.desk") / "static"
    found = {one.name: one.read_bytes() for one in own.iterdir() if one.is_file()} if own.is_dir() else {}
    try:
        library = files("xstatic.pkg.leaflet") / "data"
    except ModuleNotFoundError as error:
        raise missing_extra() from error
    found |= {name: (library / name).read_bytes() for name in _LIBRARY}
    kinds = {name: _TYPES.get(name.rpartition(".")[2]) for name in found}
    return {name: (found[name], kind) for name, kind in kinds.items() if kind is not None}
