"""How a screening was asked for, so that it can be repeated."""

from __future__ import annotations

from steybrae.frozen import dataclass


@dataclass(frozen=True)
class FileRead:
    """A small file that was read whole: its name without folder, what it was taken for, and its SHA-256."""

    name: str
    what: str
    fingerprint: str


@dataclass(frozen=True)
class SettingsFile:
    """What was not typed but taken from a file of settings.

    Attributes
    ----------
    name
        Its name, without its folder.
    taken
        Values as they stand there, by the long name of their option; of paths only the names.
    """

    name: str
    taken: dict[str, str]


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
    settings_file
        What was taken from a file of settings; it stands in the command too.
    """

    command: str
    files: tuple[FileRead, ...]
    settings_file: SettingsFile | None = None
