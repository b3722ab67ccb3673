"""``steybrae.toml``: defaults of options, in tables by subject.

It is looked for in the working folder, else in the user's folder for settings. A value there stands
where its option was not typed. In a table ``model`` what describes one model (its error, its unit)
needs ``for``, the names of the files that it holds for; there may be several such tables. What it says
beside ``dem`` holds for that file alone: another of its name lies in another folder.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Mapping
from contextvars import ContextVar
from dataclasses import fields, replace
from fnmatch import fnmatch
from glob import escape
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar

import typer

from steybrae.cli.options.groups import Group, Option, Spread
from steybrae.errors import SettingsFileError, SteybraeError

if TYPE_CHECKING:
    from steybrae.cautions import Caution
    from steybrae.screening.origin import SettingsFile

FILE_NAME: Final = "steybrae.toml"

MOST_BYTES: Final = 16_000
"""Largest file of settings, bytes (our choice): one key of so many parts takes tomllib a second."""

OF_A_PLAN: Final = {"model", "line", "bands", "start-zones"}
"""Tables that a saved plan needs nothing of: it brings its own."""

OF_ANY_MODEL: Final = ("--dem", "--method", "--engine")
"""Options of the table ``model`` that hold whatever the model is."""

_COMMANDS: Final = ("area", "card", "desk", "ground", "reading", "route", "sheet", "spacing")
_TAKEN: ContextVar[SettingsFile | None] = ContextVar("taken", default=None)

Table = Mapping[str, Any]
Result = TypeVar("Result")


def found_file() -> Path | None:
    """Path of the file of settings that is in force, or None."""
    paths = (Path(FILE_NAME), _user_folder() / "steybrae" / FILE_NAME)
    return next((path for path in paths if path.is_file()), None)


def _user_folder() -> Path:
    """Where this system keeps a user's settings."""
    # expanduser, unlike Path.home, does not fail for a user without a home.
    if os.name == "nt":
        return Path(os.environ.get("APPDATA") or os.path.expanduser("~/AppData/Roaming"))  # noqa: PTH111
    if sys.platform == "darwin":
        return Path(os.path.expanduser("~/Library/Application Support"))  # noqa: PTH111
    return Path(os.environ.get("XDG_CONFIG_HOME") or os.path.expanduser("~/.config"))  # noqa: PTH111


def forget() -> None:
    """Take nothing, as before a command that may run in the same process as another."""
    _TAKEN.set(None)


def taken() -> SettingsFile | None:
    """Tell what the running command took from the file of settings; None where nothing."""
    return _TAKEN.get()


def taken_caution() -> Caution | None:
    """Tell as a caution what was taken; None where nothing."""
    found = taken()
    if found is None:
        return None
    from steybrae.cautions import settings_file_caution

    every = _every_option()
    narrows = [name for name in found.taken if any(one.narrows for one in every[f"--{name}"])]
    return settings_file_caution(found.name, found.taken, narrows)


def with_taken(result: Result) -> Result:
    """Add to the cautions of a result what was taken from the file of settings."""
    own = taken_caution()
    if own is None:
        return result
    from steybrae.cautions import with_caution

    cautions: tuple[Caution, ...] = result.cautions  # type: ignore[attr-defined]
    # A saved plan has one of the day that it was made.
    return replace(result, cautions=with_caution(cautions, own))  # type: ignore[type-var]


def values_for(ctx: typer.Context, path: Path, spread: Spread, typed: Table) -> dict[str, Any]:
    """Give values of the file to options of a command that were not typed, by parameter.

    `SettingsFileError` where the file or something in it cannot be used; it names the file and the
    key.
    """
    parameters: dict[str, Any] = {one.opts[0]: one for one in ctx.command.params}
    given = {name: typed[one.name] for name, one in parameters.items() if typed.get(one.name)}
    if "files" in given:  # what `model` takes without --dem
        given["--dem"] = [*given["files"], *given.get("--dem", ())]
    if ctx.command.name == "desk":  # takes the line of a plan alone, and today where no day was typed
        given.pop("--plan", None)
        given.setdefault("--date", "today")
    found = _chosen(_read(path), spread.options, given, path.parent)
    while lacking := [name for name in found if not _meets(name, spread, {*given, *found})]:
        for name in lacking:
            del found[name]
    if found:
        from steybrae.screening.origin import SettingsFile

        _TAKEN.set(SettingsFile(path.name, {name[2:]: _text(name, value) for name, value in found.items()}))
    return {
        parameters[name].name: _value(path, parameters[name], spread.options[name], value, ctx)
        for name, value in found.items()
    }


def _meets(name: str, spread: Spread, there: set[str]) -> bool:
    """Whether an option of the file has what it needs and is not shut out by what was typed."""
    said = spread.options[name]
    needed = said.beside or tuple(spread.needs.get(name, ()))
    return (not needed or bool(there & set(needed))) and not there & set(said.unless)


def _chosen(
    tables: dict[str, Any], options: Mapping[str, Option], given: Table, folder: Path
) -> dict[str, Any]:
    """Look up what the file says of options that were not typed, by name."""
    if "--review" in given:  # looks at a log and at nothing else
        return {}
    arguments = [str(value) for name, value in given.items() if not name.startswith("-")]
    plan = any(value.lower().endswith(".zip") for value in arguments)
    own = plan or "--plan" in given
    found = {}
    wanted = {name[2:]: said.kept for name, said in options.items() if said.kept and name not in given}
    for key, table in wanted.items():
        if table == "model" or (own and table in OF_A_PLAN):
            continue
        for name in filter(None, (key, options[f"--{key}"].old[2:])):  # the older is of this command alone
            if name in tables.get(table, {}):
                found[f"--{key}"] = tables[table][name]
    if not plan:
        keys = [key for key, table in wanted.items() if table == "model"]
        found |= _of_model(tables.get("model", []), keys, given, folder)
    return found


def _of_model(models: list[Table], wanted: list[str], given: Table, folder: Path) -> dict[str, Any]:
    """Look up what the tables of models say, of the model that is used."""
    found: dict[str, Any] = {}
    named = [one["dem"] for one in models if "dem" in one]
    if "dem" in wanted and named and not {"--sample", "--from", "--plan"} & set(given):
        found["--dem"] = named[0]
    files = [folder / one for one in _listed(found["--dem"])] if "--dem" in found else _model_files(given)
    for one in models:
        holds = _holds_for(one, files, folder)
        for key in wanted:
            name = f"--{key}"
            any_model = holds is None and name in OF_ANY_MODEL
            if key in one and key != "dem" and name not in found and (holds or any_model):
                found[name] = one[key]
    return found


def _model_files(given: Table) -> list[Path]:
    if given.get("--sample") and "--dem" not in given:
        from steybrae.files.results import sample_model

        return [sample_model()]
    return [Path(one) for one in _listed(given.get("--dem") or [])]


def _listed(value: Any) -> list[Any]:
    """Values of a key, which may hold one or several."""
    return value if isinstance(value, list) else [value]


def _holds_for(model: Table, files: list[Path], folder: Path) -> bool | None:
    """Whether a table of a model names all files of the model; None where it names none."""
    if "for" in model:
        names = _listed(model["for"])
        return bool(files) and all(any(_is_named(file, one, folder) for one in names) for file in files)
    if "dem" not in model:
        return None
    own = {(folder / one).resolve() for one in _listed(model["dem"])}
    return bool(files) and {file.resolve() for file in files} <= own


def _is_named(file: Path, pattern: str, folder: Path) -> bool:
    """Whether a pattern names a file: by its name alone, or with the folder that the pattern has."""
    if Path(pattern).name == pattern:
        return file.name == pattern or fnmatch(file.name, pattern)
    whole = file.resolve()
    within = os.path.normpath(Path(escape(str(folder.resolve())), pattern))
    return whole == (folder / pattern).resolve() or fnmatch(str(whole), within)


def _value(path: Path, parameter: Any, said: Option, value: Any, ctx: typer.Context) -> Any:
    """Turn a value of the file into one as if typed, refused with the file and the key."""
    where = f"{path.name}, [{said.kept}] {said.name.lstrip('-')}"
    flag = getattr(parameter, "is_flag", False)
    several = getattr(parameter, "multiple", False)
    values = _listed(value) if several else [value]
    kinds = (bool,) if flag else (str, int, float)
    if any(not isinstance(one, kinds) or isinstance(one, bool) != flag for one in values):
        wanted = "true or false" if flag else "a text in quotes or a number"
        message = f"{where} should be {wanted}; got {value!r:.60}. Correct it there."
        raise SettingsFileError(message)
    if said.name == "--dem":
        values = [str(path.parent / one) for one in values]
    raw = values if several else values[0] if flag else str(values[0])
    try:
        read = parameter.type_cast_value(ctx, raw)
        if said.read is not None:
            said.read(read)
    except typer.BadParameter as error:
        message = f"{where}: {error.message} Correct it there."
        raise SettingsFileError(message) from None
    except SteybraeError as error:
        message = f"{where}: {error}"
        raise SettingsFileError(message) from None
    return raw


def _text(name: str, value: Any) -> str:
    """Give a value as it stands in the file; of a model's files only the names."""
    values = _listed(value)
    if name == "--dem":
        values = [Path(str(one)).name for one in values]
    return ", ".join(str(one).lower() if isinstance(one, bool) else str(one) for one in values)


def _read(path: Path) -> dict[str, Any]:
    """Read the file and refuse what no option has."""
    import tomllib

    try:
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
        tables = {} if len(data) > MOST_BYTES else tomllib.loads(data.decode())
    except (OSError, ValueError, RecursionError) as error:
        message = f"The file {path} could not be read as TOML: {error}. Correct it, or move it away."
        raise SettingsFileError(message) from None
    if len(data) > MOST_BYTES:
        message = f"{path} should have at most {MOST_BYTES // 1000} kB; it has more. Correct it there."
        raise SettingsFileError(message)
    known = _known()
    for name, table in tables.items():
        several = _listed(table) if name == "model" else [table]
        if name not in known or not all(isinstance(one, dict) for one in several):
            got = f"[{name}]" if isinstance(table, (dict, list)) else f"{name}, outside any table"
            message = (
                f"{path.name} should hold the tables {', '.join(sorted(known))}; got {got}. Correct it there."
            )
            raise SettingsFileError(message)
        for one in several:
            _check_keys(path, name, one, known[name])
    if "model" in tables:
        tables["model"] = _listed(tables["model"])
        _check_models(path, tables["model"])
    return tables


def _check_keys(path: Path, name: str, table: Table, known: set[str]) -> None:
    for key in table:
        if key not in known:
            keys = ", ".join(sorted(known))
            message = (
                f"{path.name}, [{name}] {key} is no setting; [{name}] may hold {keys}. Correct it there."
            )
            raise SettingsFileError(message)


def _check_models(path: Path, models: list[Table]) -> None:
    """Refuse an error or a unit that would hold for any model, and several models at once."""
    if sum("dem" in one for one in models) > 1:
        message = (
            f"{path.name}, [model] dem should name one model; got several. "
            "Keep one, and type --dem for others."
        )
        raise SettingsFileError(message)
    for one in models:
        for key in {"for", "dem"} & set(one):
            if not all(isinstance(name, str) for name in _listed(one[key])):
                message = (
                    f"{path.name}, [model] {key} should name files; got {one[key]!r:.60}. "
                    f'Write {key} = "tyrol_10m.tif".'
                )
                raise SettingsFileError(message)
        bare = [key for key in one if f"--{key}" not in (*OF_ANY_MODEL, "--for")]
        if bare and "for" not in one and "dem" not in one:
            message = (
                f"{path.name}, [model] {bare[0]} should say which models it holds for; it names none. "
                'Add for = "tyrol_*.tif" to its table.'
            )
            raise SettingsFileError(message)


def _known() -> dict[str, set[str]]:
    """Keys of every table."""
    found: dict[str, set[str]] = {"model": {"for"}}
    for name, said in _every_option().items():
        for one in said:
            found.setdefault(one.kept, set()).update(key.lstrip("-") for key in (name, one.old) if key)
    return found


def _every_option() -> dict[str, list[Option]]:
    """Options that may stand in the file, of all commands."""
    for command in _COMMANDS:
        import_module(f"steybrae.cli.{command}")
    found: dict[str, list[Option]] = {}
    for kind in _groups(Group):
        for one in fields(kind):  # type: ignore[arg-type]
            said: Option = one.metadata["option"]
            if said.kept:
                found.setdefault(said.name, []).append(said)
    return found


def _groups(kind: type[Group]) -> Iterator[type[Group]]:
    for one in kind.__subclasses__():
        if one.__module__.startswith("steybrae."):
            yield one
            yield from _groups(one)
