"""Where to cut, how to cut, fitting slits."""

from unwrap.relief.fitting import Fitting, fitting_slit
from unwrap.relief.part import Parted, Side, part
from unwrap.relief.relieve import relieve

__all__ = ["Fitting", "Parted", "Side", "fitting_slit", "part", "relieve"]
