"""First flattening, relaxing to the film, strain figures, the proven bound."""

from unwrap.flatten.bound import distortion_bound
from unwrap.flatten.flatten import could_fit, flatten
from unwrap.flatten.relax import Relaxed, relax

__all__ = ["Relaxed", "could_fit", "distortion_bound", "flatten", "relax"]
