"""Regions: find surfaces, grow and trim regions, carry them over details, make patches."""

from unwrap.regions.details import advise
from unwrap.regions.grow import default_bridge, grow_region
from unwrap.regions.mirror import reflect_patch
from unwrap.regions.patch import make_patch
from unwrap.regions.region import Detail, Joint, Patch, Region
from unwrap.regions.surfaces import Surface, find_surfaces
from unwrap.regions.trim import Trim

__all__ = [
    "Detail",
    "Joint",
    "Patch",
    "Region",
    "Surface",
    "Trim",
    "advise",
    "default_bridge",
    "find_surfaces",
    "grow_region",
    "make_patch",
    "reflect_patch",
]
