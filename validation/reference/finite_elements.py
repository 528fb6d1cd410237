"""Full three-dimensional conduction by finite elements, with scikit-fem.

Quadratic 27-node bricks on tensor grids graded toward every edge, two resolutions; the
difference between them is the stated accuracy. Writes finite_elements.json.

    pip install scikit-fem scipy numpy
    python finite_elements.py
"""

import json
import pathlib

import numpy as np
import scipy
import scipy.sparse.linalg
import skfem
from skfem.helpers import dot, grad

import stacks


def solve(case, plane_cells, slices):
    x = stacks.graded(stacks.plane_edges(case, 0), plane_cells[0], 6.0)
    y = stacks.graded(stacks.plane_edges(case, 1), plane_cells[1], 6.0)
    heights = np.concatenate([stacks.layer_tops(case), stacks.island_tops(case)[1:]])
    z = [0.0]
    for a, b in zip(heights[:-1], heights[1:]):
        n = slices if b - a > 0.2e-3 else max(1, slices // 2)
        s = np.linspace(-1.0, 1.0, n + 1)
        c = np.arccosh(np.sqrt(4.0))
        z.extend((a + (b - a) * 0.5 * (1.0 + np.tanh(c * s[1:]) / np.tanh(c))).tolist())
        z[-1] = b
    mesh = skfem.MeshHex.init_tensor(x, y, np.array(z))
    centre = mesh.p[:, mesh.t].mean(axis=1)
    k = stacks.conductivity(case, *centre)
    keep = np.nonzero(~np.isnan(k[0]))[0]
    mesh = mesh.restrict(keep)
    centre = mesh.p[:, mesh.t].mean(axis=1)
    k = stacks.conductivity(case, *centre)
    element = skfem.ElementHex2()
    basis = skfem.Basis(mesh, element, intorder=4)
    cell = basis.with_element(skfem.ElementHex0())
    fields = [cell.interpolate(k[a]) for a in range(3)]

    @skfem.BilinearForm
    def stiffness(u, v, w):
        du, dv = grad(u), grad(v)
        return sum(w[f"k{a}"] * du[a] * dv[a] for a in range(3))

    @skfem.BilinearForm
    def film(u, v, w):
        return w.h * u * v

    @skfem.LinearForm
    def heat(v, w):
        return w.q * v

    matrix = stiffness.assemble(basis, k0=fields[0], k1=fields[1], k2=fields[2])
    facet_centre = mesh.p[:, mesh.facets].mean(axis=1)
    flat = np.ptp(mesh.p[2, mesh.facets], axis=0) < 1e-12
    boundary = np.zeros(mesh.facets.shape[1], bool)
    boundary[mesh.boundary_facets()] = True
    below = np.nonzero(boundary & flat & (facet_centre[2] < 1e-12))[0]
    above = np.nonzero(boundary & flat & (facet_centre[2] > 1e-12))[0]
    for facets, h in (
        (below, np.full(below.size, case["htc_below_W_m2K"])),
        (above, stacks.htc_above(case, facet_centre[0, above], facet_centre[1, above])),
    ):
        face = skfem.FacetBasis(mesh, element, facets=facets, intorder=4)
        matrix = matrix + film.assemble(face, h=h[:, None] * np.ones(face.dx.shape))
    load = np.zeros(matrix.shape[0])
    faces = []
    for height, r, flux, name in stacks.sources(case):
        on = np.nonzero(
            flat & (abs(facet_centre[2] - height) < 1e-9) & stacks.inside(r, facet_centre[0], facet_centre[1])
        )[0]
        face = skfem.FacetBasis(mesh, element, facets=on, intorder=4)
        q = flux(facet_centre[0, on], facet_centre[1, on])
        load += heat.assemble(face, q=q[:, None] * np.ones(face.dx.shape))
        faces.append((name, face))
    diagonal = scipy.sparse.diags(1.0 / matrix.diagonal())
    rise, info = scipy.sparse.linalg.cg(matrix.tocsr(), load, rtol=1e-11, maxiter=20000, M=diagonal)
    assert info == 0, "conjugate gradients did not converge"
    junctions = []
    for name, face in faces:
        value = np.asarray(face.interpolate(rise))
        area = face.dx
        junctions.append(
            {
                "name": name,
                "mean_rise_K": float((value * area).sum() / area.sum()),
                "max_rise_K": float(value.max()),
            }
        )
    return junctions, matrix.shape[0], face_maximum(mesh, basis, rise, faces, junctions)


def face_maximum(mesh, basis, rise, faces, junctions):
    """Replaces the largest quadrature value by the largest of all nodes of the face."""
    for (name, face), junction in zip(faces, junctions):
        dofs = basis.get_dofs(facets=face.find).flatten()
        junction["max_rise_K"] = float(rise[dofs].max())
    return junctions


def main():
    cases = []
    for case in stacks.CASES:
        coarse, _, _ = solve(case, (20, 17), 2)
        fine, unknowns, _ = solve(case, (30, 26), 3)
        for c, f in zip(coarse, fine):
            f["mean_accuracy_K"] = abs(f["mean_rise_K"] - c["mean_rise_K"])
            f["max_accuracy_K"] = abs(f["max_rise_K"] - c["max_rise_K"])
        print(case["name"], unknowns, fine)
        cases.append(dict(case, junctions=fine))
    record = {
        "library": f"scikit-fem {skfem.__version__}, SciPy {scipy.__version__}",
        "script": "finite_elements.py",
        "cases": cases,
    }
    path = pathlib.Path(__file__).with_name("finite_elements.json")
    path.write_text(json.dumps(record, indent=1) + "\n")


if __name__ == "__main__":
    main()
