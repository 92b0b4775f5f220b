"""The test print, and what its readings mean for film and printer."""

from unwrap.coupon.coupon import make_coupon
from unwrap.coupon.readings import read_coupon

__all__ = ["make_coupon", "read_coupon"]
