"""Liveries for scale models as a few large waterslide decals, flattened true to size."""

from unwrap.film import Film

__all__ = ["Film"]
