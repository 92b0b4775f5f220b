"""Change a job file as text: comments, order and everything the page does not know stay as they are."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, Array, Comment, InlineTable, Item, Table, Whitespace

from unwrap.errors import BadInput
from unwrap.page.job_order import swapped

MARKS = ("fill", "lining", "band", "lettering", "artwork", "fitting")
SECTIONS = ("job", "body", "film", "print")
# Longest inline array that still reads well on one line.
ONE_LINE = 88


def change(text: str, what: str, **how: Any) -> str:
    """The job's text after one change.

    Parameters
    ----------
    text : str
        The job file, TOML.
    what : str
        "add region", "set region", "remove region", "add mark", "set mark",
        "remove mark", "change places", "set section" or "set text".
    **how
        What the change needs: `name` and `values` for a region; `kind`, `number`
        (from 0) and `values` for a mark; `kind` and two `numbers` for marks that change
        places; `section` and `values` for a section; the `whole` text. A value of None
        takes its key out; "relief.most" is `most` in the table `relief`.

    Raises
    ------
    BadInput
        If the text is not TOML, or the region, mark or section is not there.
    """
    of_text: dict[str, Callable[..., str]] = {"change places": swapped, "set text": _written_anew}
    if what in of_text:
        try:
            return of_text[what](text, **how)
        except TypeError:
            raise BadInput(f'"{what}" was asked for without all that it needs.') from None
    changes: dict[str, Callable[..., None]] = {
        "add region": _add_region,
        "set region": _set_region,
        "remove region": _remove_region,
        "add mark": _add_mark,
        "set mark": _set_mark,
        "remove mark": _remove_mark,
        "set section": _set_section,
    }
    if what not in changes:
        raise BadInput(f'"{what}" is no change that the page knows.')
    try:
        document = tomlkit.parse(text)
    except TOMLKitError as error:
        raise BadInput(f"the job is not valid TOML: {error}.") from None
    try:
        changes[what](document, **how)
    except TypeError:
        raise BadInput(f'"{what}" was asked for without all that it needs.') from None
    return tomlkit.dumps(document)


def _written_anew(_: str, whole: str) -> str:
    if not isinstance(whole, str):
        raise BadInput('"set text" was asked for without all that it needs.')
    return whole


def _add_region(document: tomlkit.TOMLDocument, name: str, values: Mapping[str, Any]) -> None:
    if any(table.get("name") == name for table in _tables(document, "region")):
        raise BadInput(f'there is a region named "{name}" already; choose another name.')
    _append(document, "region", {"name": name, **values})


def _set_region(document: tomlkit.TOMLDocument, name: str, values: Mapping[str, Any]) -> None:
    table = _region(document, name)
    renamed = values.get("name", name)
    if renamed != name:
        if any(other.get("name") == renamed for other in _tables(document, "region")):
            raise BadInput(f'there is a region named "{renamed}" already; choose another name.')
        _rename(document, name, str(renamed))
    _put(table, values)


def _remove_region(document: tomlkit.TOMLDocument, name: str) -> None:
    """Take a region out, with its reflections and what was laid on it alone."""
    _region(document, name)
    gone = {name} | {
        str(table["name"]) for table in _tables(document, "region") if table.get("mirror_of") == name
    }
    for kind in MARKS:
        tables = _tables(document, kind)
        for number in range(len(tables) - 1, -1, -1):
            wanted = tables[number].get("region")
            if wanted is None:
                continue
            names = [wanted] if isinstance(wanted, str) else list(wanted)
            kept = [other for other in names if other not in gone]
            if not kept:
                _take_out(document, kind, number)
            elif len(kept) < len(names):
                _put(tables[number], {"region": kept if len(kept) > 1 else kept[0]})
    for number in range(len(_tables(document, "region")) - 1, -1, -1):
        if _tables(document, "region")[number].get("name") in gone:
            _take_out(document, "region", number)


def _add_mark(document: tomlkit.TOMLDocument, kind: str, values: Mapping[str, Any]) -> None:
    if kind not in MARKS:
        raise BadInput(f'"{kind}" cannot be laid on a region.')
    _append(document, kind, values)


def _set_mark(document: tomlkit.TOMLDocument, kind: str, number: int, values: Mapping[str, Any]) -> None:
    _put(_mark(document, kind, number), values)


def _remove_mark(document: tomlkit.TOMLDocument, kind: str, number: int) -> None:
    _mark(document, kind, number)
    _take_out(document, kind, number)


def _set_section(document: tomlkit.TOMLDocument, section: str, values: Mapping[str, Any]) -> None:
    if section not in SECTIONS:
        raise BadInput(f'there is no section "{section}" in a job.')
    if section not in document:
        document.add(section, tomlkit.table())
    table = document[section]
    assert isinstance(table, Table)
    _put(table, values)


# ------------------------------------------------------------------ finding


def _tables(document: tomlkit.TOMLDocument, kind: str) -> AoT:
    found = document.get(kind)
    if found is None:
        return tomlkit.aot()
    if not isinstance(found, AoT):
        raise BadInput(
            f"[[{kind}]] is not written as a list of tables; write each under a heading [[{kind}]]."
        )
    return found


def _region(document: tomlkit.TOMLDocument, name: str) -> Table:
    for table in _tables(document, "region"):
        if table.get("name") == name:
            return table
    raise BadInput(f'there is no region named "{name}" in the job.')


def _mark(document: tomlkit.TOMLDocument, kind: str, number: int) -> Table:
    tables = _tables(document, kind) if kind in MARKS else tomlkit.aot()
    if not isinstance(number, int) or not 0 <= number < len(tables):
        raise BadInput(f"there is no [[{kind}]] number {number} in the job.")
    return tables[number]


def _rename(document: tomlkit.TOMLDocument, name: str, renamed: str) -> None:
    """Follow a new name wherever the old one is used."""
    for table in _tables(document, "region"):
        if table.get("mirror_of") == name:
            table["mirror_of"] = renamed
    for kind in MARKS:
        for table in _tables(document, kind):
            wanted = table.get("region")
            if wanted == name:
                table["region"] = renamed
            elif isinstance(wanted, list) and name in wanted:
                table["region"][wanted.index(name)] = renamed


# ------------------------------------------------------------------ writing


def _put(table: Table | InlineTable, values: Mapping[str, Any]) -> None:
    for key, value in values.items():
        head, _, rest = key.partition(".")
        if rest:
            _put_in_table(table, head, {rest: value})
        elif value is None:
            table.pop(key, None)
        elif key in table and table[key] == value:
            continue  # written another way, perhaps: leave the user's own spelling
        elif key in table:
            if not _put_inside(table[key], value):
                table[key] = _keeping_comment(table[key], _item(value))
        else:
            _insert(table, key, _item(value))


def _put_in_table(table: Table | InlineTable, key: str, values: Mapping[str, Any]) -> None:
    """Change a table inside a table, which comes when it is first needed and goes when it is empty."""
    if not isinstance(table.get(key), Mapping):
        table.pop(key, None)
        kept = {name: value for name, value in values.items() if value is not None}
        if kept:
            _insert(table, key, _item(kept))
        return
    _put(table[key], values)
    if not table[key]:
        del table[key]


def _put_inside(old: Any, value: Any) -> bool:
    """Change a table, or each of a list of as many, key by key, so that comments and spelling stay."""
    if isinstance(old, Table | InlineTable) and isinstance(value, Mapping):
        _put(old, dict.fromkeys([key for key in old if value.get(key) is None]))
        _put(old, {key: inner for key, inner in value.items() if inner is not None})
        return True
    if not (isinstance(old, Array) and isinstance(value, list) and len(old) == len(value)):
        return False
    if not all(
        isinstance(a, InlineTable) and isinstance(b, Mapping) for a, b in zip(old, value, strict=True)
    ):
        return False
    return all([_put_inside(table, wanted) for table, wanted in zip(old, value, strict=True)])


def _keeping_comment(old: Any, new: Item) -> Item:
    if isinstance(old, Item):
        new.trivia.comment_ws, new.trivia.comment = old.trivia.comment_ws, old.trivia.comment
    return new


def _insert(table: Table | InlineTable, key: str, item: Item) -> None:
    """Add a key below the table's last key, above the blank lines and comments that follow it."""
    if isinstance(table, InlineTable):
        table.append(key, item)
        return
    tail = _cut_tail(table)
    table.add(key, item)
    _give_tail(table, tail)


def _append(document: tomlkit.TOMLDocument, kind: str, values: Mapping[str, Any]) -> None:
    table = tomlkit.table()
    for key, value in values.items():
        if value is not None:
            table.add(key, _item(value))
    tables = _tables(document, kind)
    if len(tables):
        # What stands below the last table belongs to the next heading, so it moves below the new one.
        last = tables[len(tables) - 1]
        tail = _cut_tail(last)
        last.add(tomlkit.nl())
        tables.append(table)
        _give_tail(tables[len(tables) - 1], tail)
    else:
        tables.append(table)
        if not document.as_string().endswith("\n\n") and document.as_string():
            document.add(tomlkit.nl())
        document.add(kind, tables)


def _take_out(document: tomlkit.TOMLDocument, kind: str, number: int) -> None:
    """Remove a table; comments that stand below it belong to what follows and stay."""
    tables = _tables(document, kind)
    tail = _cut_tail(tables[number])
    if number > 0:
        before = tables[number - 1]
        kept = _cut_tail(before)
        _give_tail(before, kept + [item for item in tail if isinstance(item, Comment)] if kept else tail)
    elif len(tables) > 1 and any(isinstance(item, Comment) for item in tail):
        above: list[Item] = [item for item in tail if isinstance(item, Comment | Whitespace)]
        _give_head(tables[1], above)
    elif len(tables) == 1:
        document.remove(kind)
        _give_tail_to_document(document, tail)
        return
    del tables[number]


def _body(table: Table) -> list[tuple[Any, Item]]:
    return table.value.body


def _cut_tail(table: Table) -> list[Item]:
    """Take the blank lines and comments that follow the last key out of a table."""
    body = _body(table)
    keep = len(body)
    while keep and body[keep - 1][0] is None:
        keep -= 1
    tail = [item for _, item in body[keep:]]
    del body[keep:]
    return tail


def _give_tail(table: Table, tail: list[Item]) -> None:
    _body(table).extend((None, item) for item in tail)


def _give_head(table: Table, items: list[Item]) -> None:
    for item in items:
        if isinstance(item, Comment):
            table.add(item)


def _give_tail_to_document(document: tomlkit.TOMLDocument, tail: list[Item]) -> None:
    for item in tail:
        if isinstance(item, Comment):
            document.add(item)


def _item(value: Any) -> Item:
    """A value as TOML, numbers without needless digits; long lists of tables one to a line."""
    if isinstance(value, float):
        rounded = round(value, 4)
        return tomlkit.item(int(rounded) if rounded == int(rounded) else rounded)
    if isinstance(value, Mapping):
        inline = tomlkit.inline_table()
        for key, inner in value.items():
            if inner is not None:
                inline.add(key, _item(inner))
        return inline
    if isinstance(value, list | tuple):
        array = tomlkit.array()
        for inner in value:
            array.append(_item(inner))
        tables = any(isinstance(inner, InlineTable) for inner in array)
        array.multiline(tables and len(array.as_string()) > ONE_LINE)
        return array
    return tomlkit.item(value)


def comments(text: str) -> Iterator[str]:
    """Every comment of a job, in order, for checks that none was lost."""
    for line in text.splitlines():
        if line.lstrip().startswith("#"):
            yield line.strip()
