"""How a screening was asked for, so that it can be repeated."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["FileRead", "RunOrigin"]


@dataclass(frozen=True)
class FileRead:
    """A small file that was read whole.

    Attributes
    ----------
    name
        Its name, without its folder.
    what
        What it was taken for: ``route``, ``bulletin``.
    fingerprint
        SHA-256 of its bytes.
    """

    name: str
    what: str
    fingerprint: str


@dataclass(frozen=True)
class RunOrigin:
    """What was typed, and what was read besides the model.

    Attributes
    ----------
    command
        The command that repeats the screening: inputs and settings as typed, without outputs. Of a
        file named by its place on the whole disk only the name is kept, for a report is handed on.
    files
        Route and bulletin.
    """

    command: str
    files: tuple[FileRead, ...]
