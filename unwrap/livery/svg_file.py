"""Open a drawing that came from anywhere: nothing in it is run, fetched or expanded."""

from __future__ import annotations

import re
from pathlib import Path

from lxml import etree

from unwrap.errors import BadInput
from unwrap.livery.svg_path import NUMBER
from unwrap.livery.svg_style import length_of

LARGEST_FILE = 20_000_000
MOST_ELEMENTS = 50_000
REFERENCE = re.compile(r"url\(\s*['\"]?\s*([^'\")]*?)\s*['\"]?\s*\)")
HREFS = ("href", "{http://www.w3.org/1999/xlink}href")


def open_drawing(path: Path) -> etree._Element:
    if not path.is_file():
        raise BadInput(
            f'artwork "{path.name}": there is no such file; write the view drawings and draw in one'
        )
    if path.stat().st_size > LARGEST_FILE:
        raise BadInput(
            f'artwork "{path.name}": the file is larger than {LARGEST_FILE // 1_000_000} MB; '
            "take out embedded pictures"
        )
    data = path.read_bytes()
    if (
        b"<!ENTITY" in data
        or "<!ENTITY".encode("utf-16-le") in data
        or "<!ENTITY".encode("utf-16-be") in data
    ):
        raise BadInput(f'artwork "{path.name}": the file declares entities; save it as plain SVG')
    parser = etree.XMLParser(
        resolve_entities=False,
        no_network=True,
        load_dtd=False,
        huge_tree=False,
        remove_comments=True,
        remove_pis=True,
    )
    try:
        root = etree.fromstring(data, parser)
    except etree.XMLSyntaxError as trouble:
        place = f"line {trouble.lineno}" if trouble.lineno else "its start"
        raise BadInput(
            f'artwork "{path.name}": the file is not well-formed at {place}; save it again as SVG'
        ) from None
    if etree.QName(root).localname != "svg":
        raise BadInput(f'artwork "{path.name}": the file is no SVG drawing')
    _refuse_danger(path, root)
    return root


def mm_per_unit(root: etree._Element) -> float:
    """Length of a user unit, by the drawing's width and viewBox; of a CSS pixel where they do not say."""
    box = re.findall(NUMBER, root.get("viewBox", ""))
    width = root.get("width", "")
    try:
        size = length_of(width) if "%" not in width else 0.0
    except ValueError:
        size = 0.0
    if len(box) == 4 and float(box[2]) > 0 and size > 0:
        return size * 25.4 / 96 / float(box[2])
    return 25.4 / 96


def _refuse_danger(path: Path, root: etree._Element) -> None:
    for count, element in enumerate(root.iter()):
        if count > MOST_ELEMENTS:
            raise BadInput(
                f'artwork "{path.name}": the drawing has more than {MOST_ELEMENTS} elements; simplify it'
            )
        if not isinstance(element.tag, str):
            raise BadInput(f'artwork "{path.name}": the file uses entities; save it as plain SVG')
        kind = etree.QName(element).localname
        if kind in ("script", "foreignObject") or any(
            name.lower().startswith("on") for name in element.attrib
        ):
            raise BadInput(
                f'artwork "{path.name}": the drawing has a script in it (<{kind}>); save it without'
            )
        for name in HREFS:
            target = element.get(name)
            if kind != "a" and target and not target.startswith(("#", "data:")):
                raise BadInput(
                    f'artwork "{path.name}": <{kind}> refers to another file ("{target[:40]}"); take it out'
                )
        texts = [value for value in element.attrib.values() if "url(" in value]
        if kind == "style" and element.text:
            texts.append(element.text)
            if "@import" in element.text:
                raise BadInput(f'artwork "{path.name}": its style imports another file; take that out')
        for text in texts:
            for target in REFERENCE.findall(text):
                if not target.startswith(("#", "data:")):
                    raise BadInput(
                        f'artwork "{path.name}": <{kind}> refers to another file ("{target[:40]}"); '
                        "take it out"
                    )
