"""Read files, units, axes, health, the outside skin, views."""

from unwrap.body.body import Body
from unwrap.body.read import load_body

__all__ = ["Body", "load_body"]
