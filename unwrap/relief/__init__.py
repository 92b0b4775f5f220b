"""Where to cut, how to cut, fitting slits."""

from unwrap.relief.relieve import relieve

__all__ = ["relieve"]
