"""What every page that stands alone is made with: templates, its policy, data for its script, colours."""

from __future__ import annotations

import base64
import hashlib
import json
from functools import partial
from typing import Any

from steybrae.render.html import templates as room_templates

templates = partial(room_templates, "steybrae.pages")
"""The templates of the pages."""


def page_policy(style: str, script: str, *, pictures: bool = True) -> str:
    """Return a page's policy (CSP level 2): its own style and script by their hashes, no more."""
    images = "img-src data:; " if pictures else ""
    return (
        f"default-src 'none'; {images}style-src '{_hash(style)}'; script-src '{_hash(script)}'; "
        "base-uri 'none'; form-action 'none'"
    )


def _hash(text: str) -> str:
    return f"sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}"


def data_text(data: Any) -> str:
    """Return data for a page's script, as JSON in which no element can begin or end."""
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c")


def hex_colour(colour: tuple[float, float, float]) -> str:
    """``#00206e`` of red, green and blue, 0 to 1."""
    return "#" + "".join(f"{round(255 * part):02x}" for part in colour)
