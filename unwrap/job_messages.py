"""What is wrong with a job file, as one sentence that names the key."""

from __future__ import annotations

import difflib
from typing import Any

from pydantic import BaseModel, ValidationError

from unwrap.errors import BadInput


def checked_name(path: str) -> str:
    """The path as it may stand in a job file, which is UTF-8: bytes of another kind cannot.

    Raises
    ------
    BadInput
        If the path has a name that is no text.
    """
    try:
        path.encode()
    except UnicodeEncodeError:
        shown = path.encode(errors="replace").decode()
        raise BadInput(
            f"{shown}: this name has letters that are not UTF-8, so that no job file can hold it; rename it."
        ) from None
    return path


def first_mistake(error: ValidationError, data: dict[str, Any], model: type[BaseModel]) -> str:
    """The first thing that is wrong, as one sentence that names the key."""
    details: list[Any] = list(error.errors(include_url=False))
    # An unknown key usually explains the missing one beside it.
    first = next((d for d in details if d["type"] == "extra_forbidden"), details[0])
    where = _where(first["loc"], data)
    kind, message = first["type"], first["msg"]
    if kind == "extra_forbidden":
        known = _known_keys(model, first["loc"][:-1])
        near = difflib.get_close_matches(str(first["loc"][-1]), known, n=1)
        hint = f'did you mean "{near[0]}"?' if near else f"known here: {', '.join(known)}."
        return f"{where}: unknown key; {hint}"
    if kind == "missing":
        return f"{where}: this is missing; add it."
    if kind == "value_error":
        message = message.removeprefix("Value error, ")
    else:
        message = f"{_plain(message)} (found {_short(first.get('input'))})"
    message = message if message.endswith((".", "?")) else f"{message}."
    return f"{where}: {message}" if where else message


def _plain(message: str) -> str:
    return message.replace("Input should be", "this should be").replace(
        "valid dictionary or instance of", "table of"
    )


def _short(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 40 else text[:37] + "..."


def _where(loc: tuple[int | str, ...], data: Any) -> str:
    """``[[region]] 2 "boiler", key within.x`` from the place in the model."""
    if not loc:
        return ""
    table = str(loc[0])
    rest: list[Any] = list(loc[1:])
    text = f"[{table}]"
    if rest and isinstance(rest[0], int):
        number = rest.pop(0)
        text = f"[[{table}]] {number + 1}"
        try:
            name = data[table][number].get("name")
        except (KeyError, IndexError, TypeError, AttributeError):
            name = None
        if isinstance(name, str):
            text += f' "{name}"'
    keys = [
        str(p + 1) if isinstance(p, int) else p
        for p in rest
        if not str(p).startswith(("tuple[", "literal[", "function-"))
    ]
    return f"{text}, key {'.'.join(keys)}" if keys else text


def _known_keys(model: type[BaseModel], loc: tuple[int | str, ...]) -> list[str]:
    """The keys that the table at a place may have."""
    for part in loc:
        if isinstance(part, int) or part not in model.model_fields:
            continue
        inner = _model_in(model.model_fields[str(part)].annotation)
        if inner is None:
            return []
        model = inner
    return list(model.model_fields)


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in getattr(annotation, "__args__", ()):
        if (found := _model_in(inner)) is not None:
            return found
    return None
