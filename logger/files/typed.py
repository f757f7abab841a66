"""From the plain values of a JSON file to the types that they were written from."""

from __future__ import annotations

import types
import typing
from collections.abc import Mapping
from dataclasses import MISSING, fields, is_dataclass
from enum import Enum
from typing import Any, Final, Literal

_WORDS: Final[Mapping[type, str]] = {
    str: "a text",
    bool: "true or false",
    int: "a whole number",
    float: "a number",
    types.NoneType: "null",
}


def typed(kind: Any, value: Any, where: str = "", *, older: bool = False) -> Any:
    """Return `value` as a `kind`: a dataclass, union, tuple, mapping, literal, enum or plain type.

    Every key must be there, and no other; `older` lets those be missing that have a default.

    Raises:
        ValueError: if it is none; the message starts with the place, such as "findings[2].pain".

    """
    if is_dataclass(kind):
        return _dataclass(kind, value, where, older=older)
    origin, inner = typing.get_origin(kind), typing.get_args(kind)
    if origin in (typing.Union, types.UnionType):
        return _union(inner, value, where, older=older)
    if origin is tuple:
        items = _expected(list, value, where, "a list")
        return tuple(typed(inner[0], v, f"{where}[{i}]", older=older) for i, v in enumerate(items))
    if origin is Mapping:
        items = _expected(dict, value, where, "an object")
        return {k: typed(inner[1], v, _under(where, k), older=older) for k, v in items.items()}
    return _single(kind, origin, value, where)


def _dataclass(kind: Any, value: Any, where: str, *, older: bool) -> Any:
    given = _expected(dict, value, where, "an object")
    hints, known = typing.get_type_hints(kind), {field.name: field for field in fields(kind)}
    for name in given:
        if name not in known:
            raise ValueError(f"{_under(where, name)} is no key of this format")
    values: dict[str, Any] = {}
    for name, field in known.items():
        has_default = field.default is not MISSING or field.default_factory is not MISSING
        if name in given:
            values[name] = typed(hints[name], given[name], _under(where, name), older=older)
        elif not (older and has_default):
            raise ValueError(f"{_under(where, name)} is missing")
    return kind(**values)


def _union(options: tuple[Any, ...], value: Any, where: str, *, older: bool) -> Any:
    if value is None and types.NoneType in options:
        return None
    problems: list[ValueError] = []
    # A whole number is taken as one where both are allowed, as JSON writes them apart.
    for option in sorted(options, key=lambda option: option is float):
        try:
            return typed(option, value, where, older=older)
        except ValueError as problem:
            problems.append(problem)
    raise problems[0] if len(options) <= len((None, str)) else ValueError(f"{where} is of no use")


def _single(kind: Any, origin: Any, value: Any, where: str) -> Any:
    if origin is Literal:
        if any(value == option and type(value) is type(option) for option in typing.get_args(kind)):
            return value
        raise ValueError(f"{where} is {value!r:.40}, which is none of its values")
    if issubclass(kind, Enum):
        try:
            return kind(value)
        except ValueError as error:
            raise ValueError(f"{where} is {value!r:.40}, which is none of its values") from error
    if kind is float and type(value) is int:
        return float(value)
    return _expected(kind, value, where, _WORDS[kind])


def _expected(kind: type, value: Any, where: str, words: str) -> Any:
    # `bool` is an `int` to Python and not to JSON.
    if type(value) is not kind:
        raise ValueError(f"{where or 'the file'} is not {words}")
    return value


def _under(where: str, name: str) -> str:
    return f"{where}.{name}" if where else name
