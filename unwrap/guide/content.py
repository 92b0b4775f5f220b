"""What the guide says, before it is set as a page or as a PDF."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from unwrap.body.body import Body
from unwrap.guide.advice import Advice, advise
from unwrap.guide.body_pictures import LetteredView
from unwrap.guide.order import Step, application_order
from unwrap.guide.risks import Risk, risks
from unwrap.guide.whereabouts import counted
from unwrap.livery.overlaps import Plan
from unwrap.sheet.piece import Piece
from unwrap.sheet.sheet import Sheet


@dataclass(frozen=True, eq=False)
class Guide:
    """Everything that a guide to one job holds.

    Parameters
    ----------
    title : str
        The job's name.
    facts : mapping of str to str
        The table at its head.
    warnings : tuple of str
        What needs the user, as sentences.
    views : tuple of LetteredView
        The body with every piece lettered.
    steps : tuple of Step
        The pieces in the order of application.
    advice : tuple of Advice
        In step with `steps`.
    printed_on : tuple of str
        Per step, where it is printed: "sheet 1, with 1 spare"; empty where unknown.
    risks : tuple of Risk
        What usually goes wrong, what this job invites first.
    strain : bytes or None
        The strain picture as PNG.
    """

    title: str
    facts: Mapping[str, str]
    warnings: tuple[str, ...]
    views: tuple[LetteredView, ...]
    steps: tuple[Step, ...]
    advice: tuple[Advice, ...]
    printed_on: tuple[str, ...]
    risks: tuple[Risk, ...]
    strain: bytes | None


def gather_guide(
    body: Body,
    pieces: Sequence[Piece],
    sheets: Sequence[Sheet] = (),
    *,
    title: str = "",
    warnings: Sequence[str] = (),
    strain: bytes | None = None,
    facts: Mapping[str, str] | None = None,
    plan: Plan | None = None,
    views: Sequence[LetteredView] = (),
) -> Guide:
    """Find the order and put the advice together.

    Parameters
    ----------
    body : Body
        The model.
    pieces : sequence of Piece
        What was made.
    sheets : sequence of Sheet
        Where the copies lie.
    title : str
        The job's name; the body's where it is empty.
    warnings : sequence of str
        What needs the user, from the report.
    strain : bytes, optional
        The strain picture as PNG, to be printed with the guide.
    facts : mapping of str to str, optional
        More lines for the table at the head (scale, film, printer).
    plan : Plan, optional
        How the pieces lie over one another, when that is known.
    views : sequence of LetteredView
        Pictures of the body with every piece lettered (`unwrap.guide.body_pictures`).
    """
    steps = application_order(pieces, plan)
    length, across, height = body.size
    count = f"{len(steps)}, on {counted(len(sheets), 'sheet')}" if sheets else str(len(steps))
    return Guide(
        title=title or body.name,
        facts={"Model": f"{length:.1f} × {across:.1f} × {height:.1f} mm", "Pieces": count, **(facts or {})},
        warnings=tuple(sentence(warning) for warning in warnings),
        views=tuple(views),
        steps=steps,
        advice=tuple(advise(step.piece) for step in steps),
        printed_on=tuple(_printed_on(step.piece, sheets) for step in steps),
        risks=risks(steps),
        strain=strain,
    )


def sayings(advice: Advice) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Headings and sentences of one piece's advice, leaving out what is empty."""
    named = (
        ("Which way", (advice.facing,)),
        ("Joint", advice.joint),
        ("Film", advice.strain),
        ("Slits, in order", advice.slits),
        ("Holes", advice.holes),
        ("Details under it", advice.details),
    )
    return tuple((name, said) for name, said in named if said)


def lead_in(item: str) -> tuple[str, str]:
    """A leading catchword ("Blades.") and the rest of an item; the word is empty where there is none."""
    word, dot, rest = item.partition(". ")
    return (f"{word}.", rest) if dot and len(word) < 14 and rest else ("", item)


def sentence(text: str) -> str:
    """Text with a capital and a full stop."""
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else text + "."


def _printed_on(piece: Piece, sheets: Sequence[Sheet]) -> str:
    numbers = [s.number for s in sheets for p in s.placements if p.piece.name == piece.name]
    if not numbers:
        return ""
    spares = len(numbers) - 1
    where = f"sheet {min(numbers)}"
    return f"{where}, with {counted(spares, 'spare')}" if spares else where
