"""Z and P of a model too large for dense matrices, in blocks, and the few rows of them that others ask for."""

from dataclasses import dataclass
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from corridor.tone.clusters import Clusters, cluster_sections
from corridor.tone.compressed import BlockMatrix, compress
from corridor.tone.matrices import SectionKernel
from corridor.tone.model import ToneModel

__all__ = ["FieldMatrix", "LargeFields", "large_fields"]

Complex = NDArray[np.complex128]
Indices = NDArray[np.int64]

GROUP_SECTIONS = 400  # of 256, 400 and 512 the fastest at 8000 sections
DIRECTION_M = 30.0  # sections at right angles count as being so far apart, when few have to stand for all
DEPTH_WEIGHT = 10.0


@dataclass(frozen=True)
class LargeFields:
    """The matrices of a model at one frequency and soil.

    Attributes
    ----------
    clusters : Clusters
        Groups of its sections.
    z, p : BlockMatrix
        Ohm.
    kernel : SectionKernel
        Gives any of their entries anew.
    """

    clusters: Clusters
    z: BlockMatrix
    p: BlockMatrix
    kernel: SectionKernel

    def as_matrices(self) -> tuple[Complex, Complex]:
        """Return both as objects that give rows and products where an array would."""
        return cast("tuple[Complex, Complex]", (FieldMatrix(self, 0), FieldMatrix(self, 1)))


@dataclass(frozen=True)
class FieldMatrix:
    """Stands for Z (0) or P (1) where whole lines' rows are asked for.

    ``matrix[np.ix_(rows, columns)]`` is a dense block worked out exactly, ``weights @ matrix[rows]`` a product to the
    accuracy of the compression; nothing else is offered.
    """

    fields: LargeFields
    which: int

    def __getitem__(self, index: Any) -> Any:
        """Return a dense block, or rows to be multiplied from the left."""
        if isinstance(index, tuple):
            rows, columns = (np.ravel(part) for part in index)
            return self.fields.kernel.block(rows, columns)[self.which]
        return _Rows((self.fields.z, self.fields.p)[self.which], np.asarray(index))


@dataclass(frozen=True)
class _Rows:
    matrix: BlockMatrix
    rows: Indices

    __array_ufunc__ = None  # numpy leaves the product to this class

    def __rmatmul__(self, weights: Complex) -> Complex:
        spread = np.zeros((sum(group.size for group in self.matrix.groups), len(weights)), dtype=np.complex128)
        spread[self.rows] = weights.T
        return (self.matrix @ spread).T


def large_fields(
    model: ToneModel, kernel: SectionKernel, *, tolerance: float, group_sections: int = GROUP_SECTIONS
) -> LargeFields:
    """Compress the matrices of a model.

    Parameters
    ----------
    model : ToneModel
        Its sections.
    kernel : SectionKernel
        Of them, at one frequency and soil.
    tolerance : float
        Largest error of a block against its norm.
    group_sections : int
        Most sections a group.

    Returns
    -------
    LargeFields
    """
    middle = (model.start_m + model.end_m) / 2
    step = model.end_m - model.start_m
    x, y, z = (step / np.linalg.norm(step, axis=1)[:, np.newaxis]).T
    clusters = cluster_sections(model.layout, middle[:, :2], size=group_sections)
    features = np.column_stack(
        [
            middle[:, :2],
            DIRECTION_M * x * x,
            DIRECTION_M * x * y,
            DIRECTION_M * z * z,
            DEPTH_WEIGHT * middle[:, 2],
            DIRECTION_M * model.electrode_mask,
        ]
    )
    return LargeFields(clusters, *compress(clusters.groups, features, kernel.block, tolerance=tolerance), kernel)
