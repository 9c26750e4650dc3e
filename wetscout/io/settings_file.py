"""Reading a settings file, and writing the one that lists every setting."""

from __future__ import annotations

import dataclasses
import difflib
import math
import textwrap
import tomllib
import typing
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter, ValidationError

from wetscout.errors import SettingsError
from wetscout.settings import Settings

__all__ = ["describe_settings", "parse_settings", "read_settings"]

_WORDS = {float: "a number", int: "a whole number", str: "text in quotes", bool: "true or false"}


def read_settings(path: str | Path) -> Settings:
    """Read a settings file (TOML, one table per part).

    Parameters
    ----------
    path : str or Path
        The file. What it does not name keeps its default.

    Returns
    -------
    Settings

    Raises
    ------
    SettingsError
        Missing, no TOML, an unknown table or key (the nearest name is told), a value of the wrong type or out of range.
    """
    place = Path(path)
    try:
        text = place.read_text(encoding="utf-8-sig")
    except FileNotFoundError as error:
        raise SettingsError(f"there is no settings file {path}. Check the path and its spelling.") from error
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(f"the settings file {path} cannot be read as text: {error}") from error
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(
            f"{path} is not valid TOML: {error}. Wanted: lines like [linework] and name = 1.5 below it."
        ) from error
    return parse_settings(tables, str(path))


def parse_settings(tables: Mapping[str, Any], where: str = "the settings") -> Settings:
    """Check settings given as tables of key and value.

    Parameters
    ----------
    tables : mapping
        Name of the part to a mapping of key to value.
    where : str
        How to call their source in messages.

    Returns
    -------
    Settings

    Raises
    ------
    SettingsError
        As `read_settings`.
    """
    default = Settings()
    parts = {part.name: getattr(default, part.name) for part in dataclasses.fields(default)}
    changed: dict[str, Any] = {}
    for name, table in tables.items():
        if name not in parts:
            raise SettingsError(_unknown_table(name, table, parts, where))
        if not isinstance(table, Mapping):
            raise SettingsError(f"{where}: {name} is a table; write [{name}] on a line of its own, its keys below it.")
        types = typing.get_type_hints(type(parts[name]))
        known = {key.name: key for key in dataclasses.fields(parts[name])}
        values = {}
        for key, value in table.items():
            if key not in known:
                raise SettingsError(_unknown_key(name, key, parts, where))
            values[key] = _checked(value, types[key], known[key], f"{where}, [{name}] {key}")
        changed[name] = dataclasses.replace(parts[name], **values)
    return dataclasses.replace(default, **changed)


def _near(word: str, names: list[str]) -> str:
    close = difflib.get_close_matches(word, names, n=1, cutoff=0.5)
    return f" Did you mean {close[0]}?" if close else f" Known: {', '.join(names)}."


def _unknown_table(name: str, table: Any, parts: Mapping[str, Any], where: str) -> str:
    homes = [part for part, value in parts.items() if name in {key.name for key in dataclasses.fields(value)}]
    if not isinstance(table, Mapping) and homes:
        return f"{where}: {name} stands outside of any table; it belongs under [{homes[0]}]."
    return f"{where}: there is no part [{name}].{_near(name, list(parts))}"


def _unknown_key(name: str, key: str, parts: Mapping[str, Any], where: str) -> str:
    own = [known.name for known in dataclasses.fields(parts[name])]
    homes = [
        part for part, value in parts.items() if part != name and key in {k.name for k in dataclasses.fields(value)}
    ]
    if homes:
        return f"{where}: [{name}] has no {key}; it belongs under [{homes[0]}]."
    return f"{where}: [{name}] has no {key}.{_near(key, own)}"


def _checked(value: Any, kind: Any, key: dataclasses.Field[Any], where: str) -> Any:
    """Value of the wanted type and within its range, or a plain word on what is wrong."""
    unit = key.metadata.get("unit", "-")
    limits = key.metadata.get("limits")
    of_unit = "" if unit in {"-", "text"} else f" [{unit}]"
    wanted = f"{_WORDS.get(kind, str(kind))}{of_unit}" + (f" from {limits[0]:g} to {limits[1]:g}" if limits else "")
    try:
        found = TypeAdapter(kind).validate_python(value, strict=True)
    except ValidationError as error:
        hint = " Write it without quotes." if kind in {float, int} and isinstance(value, str) else ""
        raise SettingsError(f"{where} = {value!r}: wanted {wanted}.{hint}") from error
    if limits and not (math.isfinite(found) and limits[0] <= found <= limits[1]):
        about = key.metadata.get("about", "")
        raise SettingsError(f"{where} = {value!r} is out of range: wanted {wanted}. {about}".rstrip())
    return found


def describe_settings(settings: Settings | None = None) -> str:
    """List every setting as a TOML file: meaning, unit, range and source as comments, all keys set.

    Parameters
    ----------
    settings : Settings, optional
        Values to write; the defaults when not given.

    Returns
    -------
    str
        Reads back to the same settings.
    """
    settings = settings or Settings()
    lines = ["# Settings of wetscout. Keep only the lines you change: what is not named keeps its default.", ""]
    for part in dataclasses.fields(settings):
        values = getattr(settings, part.name)
        lines.append(f"[{part.name}]")
        for key in dataclasses.fields(values):
            about = f"{key.metadata.get('about', '')} Source: {key.metadata.get('source', 'none')}."
            lines += [f"# {line}" for line in textwrap.wrap(about, 110)]
            limits = key.metadata.get("limits")
            spans = f"{limits[0]:g} to {limits[1]:g}" if limits else "any"
            lines.append(f"# unit {key.metadata.get('unit', '-')}, range {spans}, default {_toml(key.default)}")
            lines += [f"{key.name} = {_toml(getattr(values, key.name))}", ""]
        lines.append("")
    return "\n".join(lines)


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        escaped = value.replace("\\", "\\\\").replace('"', '\\"')
        return f'"{escaped}"'
    if isinstance(value, tuple):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    return repr(value)
