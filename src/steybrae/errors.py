"""Every error that steybrae raises on purpose, and warnings of other libraries put aside.

Each error is also the matching built-in, so that code which knows nothing of this
package can still catch it. The tree::

    SteybraeError
    ├── QuantityError (ValueError)      a value as typed: unit, range, spelling
    ├── PlaceError (ValueError)         a position that cannot be read or lies nowhere
    ├── RouteError (ValueError)         a line that cannot be walked or cut into legs
    ├── ModelError (ValueError)         an elevation model that cannot be used
    ├── OffModelError (LookupError)     a place or line wholly off the model
    ├── FileReadError (OSError)         a file missing, damaged or of another kind
    ├── FileWriteError (OSError)        an output that cannot or may not be written
    ├── PlanError (ValueError)          a saved plan that is not what it says
    ├── LogError (ValueError)           a log of readings that cannot be used
    ├── BulletinError (ValueError)      a forecast bulletin that breaks its standard
    ├── DateError (ValueError)          a date or time outside what a model covers
    └── MissingExtraError (ImportError) an optional package that is not installed

A message is one sentence or two: what was expected, what arrived, what to do.
"""

from __future__ import annotations

import threading
import warnings
from collections.abc import Iterable, Iterator
from contextlib import contextmanager


class SteybraeError(Exception):
    """Root of every error raised on purpose; the command prints it as one line.

    Examples
    --------
    >>> try:
    ...     steybrae.gap(-1, scale=25_000, interval_m=10)
    ... except steybrae.SteybraeError as error:
    ...     print(error)
    The measured length should lie between 0.01 mm and 10 m; got -1 mm. Measure on the printed sheet.
    """


class QuantityError(SteybraeError, ValueError):
    """A typed value whose unit, range or spelling cannot be taken."""


class PlaceError(SteybraeError, ValueError):
    """A position that cannot be read, or that lies nowhere on the earth."""


class RouteError(SteybraeError, ValueError):
    """A line that cannot be walked: too few points, no length, no such turn point."""


class ModelError(SteybraeError, ValueError):
    """An elevation model that cannot be used: no CRS, several bands, mixed grids."""


class OffModelError(SteybraeError, LookupError):
    """A place or a whole line that lies outside the elevation model."""


class FileReadError(SteybraeError, OSError):
    """A file that is missing, damaged or not of the kind expected."""


class FileWriteError(SteybraeError, OSError):
    """An output that cannot be written, or exists and may not be replaced."""


class PlanError(SteybraeError, ValueError):
    """A saved plan that is not what it says it is."""


class LogError(SteybraeError, ValueError):
    """A log of readings that cannot be used."""


class BulletinError(SteybraeError, ValueError):
    """A forecast bulletin that breaks its standard."""


class DateError(SteybraeError, ValueError):
    """A date or a clock time outside what the model in use covers."""


class SettingsFileError(SteybraeError, ValueError):
    """A file of settings with a table, a key or a value that is none."""


class MissingExtraError(SteybraeError, ImportError):
    """An optional package is needed and not installed."""


def one_of(name: str, known: Iterable[str], what: str, error: type[SteybraeError] = QuantityError) -> None:
    """Refuse a name that is none of those known."""
    names = tuple(known)
    if name not in names:
        message = f"{what} should be one of {', '.join(names)}; got {name!r}. Choose one."
        raise error(message)


ONE_AT_A_TIME = threading.RLock()
"""Held while anything is changed that a whole process shares, and put back after."""


@contextmanager
def hushed() -> Iterator[None]:
    """Let filters of warnings be changed inside the ``with`` block.

    Python keeps one list of filters for all threads: two that changed it at once would leave a
    caller with the filters of the other.
    """
    with ONE_AT_A_TIME, warnings.catch_warnings():
        yield
