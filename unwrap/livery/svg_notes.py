"""What is said of a drawing while it is read, and values that are refused by the element they stand on."""

from __future__ import annotations

from dataclasses import dataclass, field

from lxml import etree

from unwrap.arrays import FloatArray
from unwrap.errors import BadInput
from unwrap.livery.svg_file import HREFS
from unwrap.livery.svg_path import parse_transform
from unwrap.livery.svg_style import length_of


@dataclass(eq=False)
class Notes:
    """A drawing by its file's name, and the sentences about what of it could not be kept."""

    name: str
    said: list[str] = field(default_factory=list)

    def remark(self, element: etree._Element, what: str) -> None:
        """Say what an element loses."""
        self.said.append(f'artwork "{self.name}": {called(element)}: {what}.')

    def refusal(self, element: etree._Element, what: object) -> BadInput:
        """The mistake that an element cannot be read."""
        return BadInput(f'artwork "{self.name}": {called(element)} {what}')

    def transform(self, element: etree._Element) -> FloatArray:
        """(3, 3) an element's own transform."""
        try:
            return parse_transform(element.get("transform"))
        except ValueError as trouble:
            raise self.refusal(element, f"cannot be read: {trouble}") from None

    def length(self, element: etree._Element, name: str, default: float = 0.0) -> float:
        """A length that an element gives, user units."""
        try:
            return length_of(element.get(name), default)
        except ValueError as trouble:
            raise self.refusal(element, f"has a wrong {name}: {trouble}") from None

    def number(self, element: etree._Element, value: str) -> float:
        """A length in an element's style, user units."""
        try:
            return length_of(value)
        except ValueError as trouble:
            raise self.refusal(element, f"cannot be read: {trouble}") from None


def called(element: etree._Element) -> str:
    """An element as a user finds it in the file."""
    kind = etree.QName(element).localname
    return f'<{kind} id="{element.get("id")}">' if element.get("id") else f"<{kind}>"


def target_of(element: etree._Element) -> str:
    """What an element refers to, without the #; empty where to nothing."""
    return next((value[1:] for name in HREFS if (value := element.get(name, "")).startswith("#")), "")
