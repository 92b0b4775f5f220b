"""The marking page: mark the livery on the body in a browser."""

from unwrap.page.server import serve

__all__ = ["serve"]
