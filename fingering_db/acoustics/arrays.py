"""Array types of the acoustic modules, what all of them need, and the one error they raise."""

from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt

RealArray: TypeAlias = npt.NDArray[np.float64]
ComplexArray: TypeAlias = npt.NDArray[np.complex128]
IndexArray: TypeAlias = npt.NDArray[np.intp]
StateArray: TypeAlias = npt.NDArray[np.uint8]
BoolArray: TypeAlias = npt.NDArray[np.bool_]
RealLike: TypeAlias = float | npt.NDArray[Any]


def distinct(values: IndexArray) -> IndexArray:
    """The distinct of some whole numbers, shape (n,), growing: np.unique without its import of masked arrays."""
    grown = np.sort(values)
    return np.asarray(grown[np.append(True, grown[1:] != grown[:-1])[: len(grown)]])


class GeometryError(ValueError):
    """A length, radius or temperature that no tube can have; the message carries the value."""


def require_positive(**lengths: float) -> None:
    """Raises GeometryError naming the first argument that is not a finite number above 0."""
    for name, value in lengths.items():
        if not (np.isfinite(value) and value > 0.0):
            raise GeometryError(f"{name} must be above 0, got {value!r}")
