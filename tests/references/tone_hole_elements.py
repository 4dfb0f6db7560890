"""Lengths of a tone hole by finite elements (scikit-fem), independent of the package.

Low-frequency limit: potential flow. Regenerate the stored numbers with `python tests/references/tone_hole_elements.py`,
which writes tone_hole_elements.json beside it (some minutes on one core).

Hole in a tube: a bore of radius 1 crossed by a chimney of radius d, closed or open at a flat top t above the bore
circle; one quarter by symmetry. Regular hexahedra, trilinear; cells that the wall cuts are integrated over their inside
only, so the wall is met by the quadrature, not by the mesh. Stored for two meshes: they differ by under 0.01 b d²
(series) and 0.01 b (inner).

Opening in a key's plate: axially symmetric, mesh lines on all walls, quadratic quadrilaterals graded towards the edges;
the far field outside is closed by its monopole. Halving the finest cell moves the lengths by 1e-5 of the radius.
"""

import itertools
import json
from pathlib import Path
from typing import Any

import numpy as np
from scipy.sparse import diags
from scipy.sparse.linalg import cg
from skfem import Basis, BilinearForm, ElementHex1, ElementQuad2, FacetBasis, MeshHex, MeshQuad, condense, solve
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
        matrix = matrix + cut.assemble(Basis(mesh, ElementHex1(), elements=chunk, quadrature=(points, weights)))
    return matrix.tocsr()


def _solve(matrix: Any, fixed: Any, values: Any) -> Any:
    """Potential with `values` at the nodes `fixed`."""
    reduced, right, full, free = condense(matrix, np.zeros(matrix.shape[0]), x=values, D=fixed)
    diagonal = 1.0 / reduced.diagonal()
    part, info = cg(reduced, right, rtol=1e-9, maxiter=20000, M=diags(diagonal))
    assert info == 0
    full[free] = part
    return full


def series_length(d: float, t: float, n: int, open_top: bool = False) -> float:
    """Series length t_a over b d² of a hole with radius d, t = chimney / b, in a bore of radius 1 with mesh edge 1/n.

    Potential 0 in the plane through the hole's axis, 1 at the tube's end: the added length is what the whole differs
    from the plain tube of the same discrete cross-section; both halves of the tube count.
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
    return 2.0 * (_section(n) / flux - _TUBE) / (d * d**2)


def inner_length(d: float, t: float, n: int) -> float:
    """Inner length t_i over b: flow from both ends of the bore out of the hole's top, less t + t_m of the chimney.

    In the T network half the flow goes through each half of the series impedance: a quarter of t_a comes off as well.
    """
    top = 1.0 + t * d
    mesh = _mesh(d, top, n)
    matrix = _stiffness(mesh, d, top)
    x = mesh.p
    end, out = x[0] > _TUBE - 1e-9, x[2] > top - 1e-9
    values = np.where(end, 1.0, 0.0)
    phi = _solve(matrix, np.flatnonzero(end | out), values)
    flux = (matrix @ phi)[end].sum()  # through a quarter of the outlet
    in_bore = _TUBE * flux / _section(n)
    outlet = np.pi * d**2 / 4.0
    matching = d**2 / 8.0 * (1.0 + 0.207 * d**3)
    quarter = series_length(d, t, n, open_top=True) * d**3 / 4.0  # [bore radii], in the bore's convention
    return ((1.0 - in_bore) * outlet / flux - (t * d + matching) - quarter * d**2) / d


def _section(n: int) -> float:
    """Half the cross-section of the bore as the quadrature sees it: the conductance of a straight piece."""
    at = (np.arange(n * _POINTS) + 0.5) / (n * _POINTS)
    return 2.0 * float((at[:, None] ** 2 + at[None, :] ** 2 <= 1.0).mean())


def _graded(start: float, stop: float, edges: tuple[float, ...], finest: float, growth: float = 1.25) -> Any:
    """Mesh lines from start to stop, through all edges, steps growing away from each edge."""
    marks = [start, *(edge for edge in sorted(edges) if start < edge < stop), stop]
    lines = [start]
    for left, right in itertools.pairwise(marks):
        length, from_left, from_right = right - left, left in edges, right in edges
        one_sided = length if from_left != from_right else length / 2.0
        steps = finest * growth ** np.arange(200)
        count = max(int(np.searchsorted(np.cumsum(steps), one_sided)) + 1, 2)
        offsets = np.concatenate([[0.0], np.cumsum(steps[:count])])
        offsets *= one_sided / offsets[-1]
        if from_left and from_right:
            pieces = np.concatenate([left + offsets, right - offsets[-2::-1]])
        elif from_left:
            pieces = left + offsets
        else:
            pieces = right - offsets[::-1]
        lines += list(pieces[1:])
    return np.array(lines)


def _axial(inside: Any, rho: Any, z: Any, start: Any, end: Any, end_is_far: bool) -> float:
    """Flux over 2π at potential 1 on `start`; `end` at 0, or a far field. inside: of (rho, z) of a cell's middle."""
    mesh = MeshQuad.init_tensor(rho, z)
    middle = mesh.p[:, mesh.t].mean(axis=1)
    mesh = mesh.remove_elements(np.flatnonzero(~inside(*middle)))
    basis = Basis(mesh, ElementQuad2(), intorder=5)

    @BilinearForm
    def flow(u: Any, v: Any, w: Any) -> Any:
        return w.x[0] * dot(grad(u), grad(v))

    @BilinearForm
    def monopole(u: Any, v: Any, w: Any) -> Any:
        return w.x[0] * u * v * (w.x[0] * w.n[0] + w.x[1] * w.n[1]) / (w.x[0] ** 2 + w.x[1] ** 2)

    plain = flow.assemble(basis)
    matrix = plain
    if end_is_far:
        matrix = matrix + monopole.assemble(FacetBasis(mesh, ElementQuad2(), facets=mesh.facets_satisfying(end)))
    held = basis.get_dofs(start).all()
    zero = np.empty(0, dtype=int) if end_is_far else basis.get_dofs(end).all()
    values = np.zeros(basis.N)
    values[held] = 1.0
    phi = solve(*condense(matrix, np.zeros(basis.N), x=values, D=np.concatenate([held, zero])))
    return float((plain @ phi)[held].sum())


def opening_inside(ratio: float, finest: float = 0.004) -> float:
    """d_in over r: a tube of radius r = 1 leaving the flat end of one of radius 1/ratio."""
    wide, narrow_length = 1.0 / ratio, 3.0
    length = 3.0 * wide
    flux = _axial(
        lambda rho, z: (z < 0.0) | (rho < 1.0),
        _graded(0.0, wide, (1.0,), finest),
        _graded(-length, narrow_length, (0.0,), finest),
        lambda x: np.abs(x[1] + length) < 1e-9,
        lambda x: np.abs(x[1] - narrow_length) < 1e-9,
        end_is_far=False,
    )
    return 0.5 / flux - length * ratio**2 - narrow_length


def opening_outside(flange: float, finest: float = 0.004) -> float:
    """d_out over r: a tube of radius r = 1 ending in the face of a solid cylinder of radius `flange`."""
    length, far = 3.0, 60.0
    flux = _axial(
        lambda rho, z: (z > 0.0) | (rho > flange) | (rho < 1.0) & (z > -length),
        _graded(0.0, far, (1.0, flange), finest),
        _graded(-far, far, (-length, 0.0), finest),
        lambda x: (np.abs(x[1] + length) < 1e-9) & (x[0] < 1.0 + 1e-9),
        lambda x: (np.abs(x[0] - far) < 1e-9) | (np.abs(np.abs(x[1]) - far) < 1e-9),
        end_is_far=True,
    )
    return 0.5 / flux - length


def opening_whole(ratio: float, plate: float, flange: float, finest: float = 0.004) -> float:
    """(tp + d_in + d_out) over r of a plate `plate` thick over a chimney of radius 1/ratio, all in opening radii."""
    wide, length, far = 1.0 / ratio, 3.0 / ratio, 60.0
    flux = _axial(
        lambda rho, z: (
            (z > plate) | (rho > flange) | (rho < 1.0) & (z > 0.0) | (rho < wide) & (z > -length) & (z < 0.0)
        ),
        _graded(0.0, far, tuple(sorted({1.0, wide, flange})), finest),
        _graded(-far, far, (-length, 0.0, plate), finest),
        lambda x: (np.abs(x[1] + length) < 1e-9) & (x[0] < wide + 1e-9),
        lambda x: (np.abs(x[0] - far) < 1e-9) | (np.abs(np.abs(x[1]) - far) < 1e-9),
        end_is_far=True,
    )
    return 0.5 / flux - length * ratio**2


def computed() -> dict[str, Any]:
    """Every number that is stored."""
    series = [
        {"d": 0.75, "t_over_b": t, "mesh": n, "t_a_over_bd2": round(series_length(0.75, t, n), 4)}
        for t in (0.5, 1.0)
        for n in (16, 24)
    ]
    inner = [
        {"d": d, "t_over_b": 1.0, "mesh": n, "t_i_over_b": round(inner_length(d, 1.0, n), 4)}
        for d in (0.5, 0.75, 1.0)
        for n in (16, 24)
    ]
    inside = [{"r_over_b": q, "d_in_over_r": round(opening_inside(q), 4)} for q in (0.15, 0.25, 0.35, 0.472, 0.504)]
    outside = [{"flange_over_r": f, "d_out_over_r": round(opening_outside(f), 4)} for f in (2.0, 2.5, 2.75, 3.5)]
    # The shipped flute's perforations: diameter 6.75 mm, plate 3.5 mm, chimney 13.4 or 14.3 mm, cup 1.3 times as wide.
    whole = [
        {
            "hole_mm": hole, "opening_mm": 6.75, "plate_mm": 3.5, "cup_mm": 1.3 * hole,
            "length_over_r": round(opening_whole(6.75 / hole, 3.5 / 3.375, 1.3 * hole / 6.75), 4),
        }
        for hole in (13.4, 14.3)
    ]  # fmt: skip
    return {
        "made_by": "python tests/references/tone_hole_elements.py (scikit-fem, potential flow; see its docstring)",
        "closed_series": series,
        "inner": inner,
        "opening_inside": inside,
        "opening_outside": outside,
        "opening_whole": whole,
    }


if __name__ == "__main__":
    STORED.write_text(json.dumps(computed(), indent=1) + "\n", encoding="utf-8")
