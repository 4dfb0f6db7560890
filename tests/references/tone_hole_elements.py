"""Lengths of a tone hole by finite elements (scikit-fem), independent of the package.

Low-frequency limit: potential flow. Regenerate the stored numbers with `python tests/references/tone_hole_elements.py`,
which writes tone_hole_elements.json beside it (about two minutes on one core); `--quick` prints coarse meshes only.

Hole in a tube: a bore of radius 1 crossed by a chimney of radius d, closed or open at a flat top t above the bore circle; one
quarter by symmetry. Regular hexahedra, trilinear; cells that the wall cuts are integrated over their inside only, so the wall
is met by the quadrature, not by the mesh. The sharp edge between chimney and bore makes the error fall as h^(4/3): the value
stored is extrapolated with that power from the two finest meshes, the finest one is stored beside it.

Opening in a key's plate: axially symmetric, mesh lines on all walls, quadratic triangles' counterpart on quadrilaterals, mesh
graded towards the edges; outside a sphere-like far field is closed by its monopole.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from scipy.sparse.linalg import cg, spsolve
from skfem import Basis, BilinearForm, ElementHex1, ElementQuad2, MeshHex, MeshQuad, condense
from skfem.helpers import dot, grad

STORED = Path(__file__).with_suffix(".json")
_TUBE = 3.0  # [bore radii] from the axis of the hole to the plane of the tube's end
_POINTS = 5  # per edge of a cut cell


def _inside(x: Any, d: float, top: float) -> Any:
    """Whether points (3, ...) lie in bore or chimney."""
    in_bore = x[1] ** 2 + x[2] ** 2 <= 1.0
    in_chimney = (x[0] ** 2 + x[1] ** 2 <= d**2) & (x[2] >= 0.0) & (x[2] <= top)
    return in_bore | in_chimney


def _mesh(d: float, top: float, n: int) -> Any:
    """Quarter of bore and chimney in boxes of edge about 1/n; cells wholly outside are taken away."""
    along = np.concatenate([np.linspace(0, d, round(d * n) + 1), np.linspace(d, _TUBE, round((_TUBE - d) * n) + 1)[1:]])
    up = np.concatenate([np.linspace(-1, 1, 2 * n + 1), np.linspace(1, top, max(round((top - 1) * n), 2) + 1)[1:]])
    mesh = MeshHex.init_tensor(along, np.linspace(0, 1, n + 1), up)
    low, high = mesh.p[:, mesh.t].min(axis=1), mesh.p[:, mesh.t].max(axis=1)
    grid = np.linspace(0.0, 1.0, _POINTS + 2)[1:-1]
    weights = np.stack(np.meshgrid(grid, grid, grid, indexing="ij")).reshape(3, 1, -1)
    points = low[:, :, None] + (high - low)[:, :, None] * weights
    return mesh.remove_elements(np.flatnonzero(~_inside(points, d, top).any(axis=1)))


def _stiffness(mesh: Any, d: float, top: float) -> Any:
    """Stiffness matrix of the part of the mesh that lies inside."""
    inside = _inside(mesh.p[:, mesh.t], d, top).all(axis=0)
    # Corners inside mean a cell inside, but for cells across the foot of the chimney, where the union is not convex.
    low, high = mesh.p[:, mesh.t].min(axis=1), mesh.p[:, mesh.t].max(axis=1)
    inside &= ~((high[2] > 0.6) & (low[2] < 1.0) & (np.hypot(low[0], low[1]) < 1.2 * d))

    @BilinearForm
    def whole(u: Any, v: Any, _: Any) -> Any:
        return dot(grad(u), grad(v))

    @BilinearForm
    def cut(u: Any, v: Any, w: Any) -> Any:
        return dot(grad(u), grad(v)) * (_inside(w.x, d, top) + 1e-9)

    middle = (np.arange(_POINTS) + 0.5) / _POINTS
    points = np.stack(np.meshgrid(middle, middle, middle, indexing="ij")).reshape(3, -1)
    weights = np.full(points.shape[1], 1.0 / points.shape[1])
    matrix = whole.assemble(Basis(mesh, ElementHex1(), elements=np.flatnonzero(inside)))
    rest = np.flatnonzero(~inside)
    for chunk in np.array_split(rest, max(1, len(rest) // 4000)):
        matrix = matrix + cut.assemble(
            Basis(mesh, ElementHex1(), elements=chunk, quadrature=(points, weights))
        )
    return matrix.tocsr()


def _solve(matrix: Any, fixed: Any, values: Any) -> Any:
    """Potential with `values` at the nodes `fixed`."""
    reduced, right, full, free = condense(matrix, np.zeros(matrix.shape[0]), x=values, D=fixed)
    diagonal = 1.0 / reduced.diagonal()
    from scipy.sparse import diags

    part, info = cg(reduced, right, rtol=1e-9, maxiter=20000, M=diags(diagonal))
    assert info == 0
    full[free] = part
    return full


def series_length(d: float, t: float, n: int, open_top: bool = False) -> float:
    """Series length t_a over b d² of a hole with radius d, t = chimney / b, in a bore of radius 1 with mesh edge 1/n.

    Potential 0 in the plane through the hole's axis, 1 at the tube's end: the added length is what the whole differs from the
    plain tube of the same discrete cross-section; both halves of the tube count.
    """
    top = 1.0 + t * d
    mesh = _mesh(d, top, n)
    matrix = _stiffness(mesh, d, top)
    x = mesh.p
    fixed, values = x[0] < 1e-9, np.zeros(x.shape[1])
    end = x[0] > _TUBE - 1e-9
    values[end] = 1.0
    if open_top:
        fixed = fixed | (x[2] > top - 1e-9)
    phi = _solve(matrix, np.flatnonzero(fixed | end), values)
    flux = (matrix @ phi)[end].sum()
    return 2.0 * (_section(mesh, d, n) / flux - _TUBE) / (d * d**2)


def inner_length(d: float, t: float, n: int) -> float:
    """Inner length t_i over b: flow from both ends of the bore out of the hole's top, less t + t_m of the chimney."""
    top = 1.0 + t * d
    mesh = _mesh(d, top, n)
    matrix = _stiffness(mesh, d, top)
    x = mesh.p
    end, out = x[0] > _TUBE - 1e-9, x[2] > top - 1e-9
    values = np.where(end, 1.0, 0.0)
    phi = _solve(matrix, np.flatnonzero(end | out), values)
    flux = (matrix @ phi)[end].sum()  # through a quarter of the outlet
    in_bore = _TUBE * flux / _section(mesh, d, n)
    outlet = np.pi * d**2 / 4.0
    matching = d**2 / 8.0 * (1.0 + 0.207 * d**3)
    return ((1.0 - in_bore) * outlet / flux - (t * d + matching)) / d


def _section(mesh: Any, d: float, n: int) -> float:
    """Half the cross-section of the bore as the quadrature sees it: conductance of a straight piece far from the hole."""
    del d
    edges = np.linspace(0.0, 1.0, n + 1)
    cells = (edges[:-1, None] + (np.arange(_POINTS) + 0.5) / _POINTS / n).ravel()
    half = (cells[:, None] ** 2 + cells[None, :] ** 2 <= 1.0).mean()
    del mesh
    return 2.0 * float(half)


def extrapolated(value: Callable[[int], float], coarse: int, fine: int, power: float = 4.0 / 3.0) -> tuple[float, float]:
    """(finest, extrapolated to h = 0 for an error that falls as h^power)."""
    at_coarse, at_fine = value(coarse), value(fine)
    ratio = (fine / coarse) ** power
    return at_fine, at_fine + (at_fine - at_coarse) / (ratio - 1.0)
