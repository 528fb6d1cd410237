"""Conduction by vertex-centred finite volumes and SciPy's sparse direct solver.

Unknowns sit on the crossings of the grid lines, so that interfaces and surfaces carry their own
temperatures: no half-thickness, no face reconstruction. Conductances are areas times the mean of
the conductivities of the (up to four) bricks around an edge. Two grids, the second with twice the
intervals; Richardson's extrapolation at second order and its distance as the stated accuracy.
Writes finite_volumes.json.

    pip install scipy numpy
    python finite_volumes.py
"""

import json
import pathlib

import numpy as np
import scipy
import scipy.sparse
import scipy.sparse.linalg

import stacks


def solve(case, x, y, z):
    nx, ny, nz = len(x), len(y), len(z)
    dx, dy, dz = np.diff(x), np.diff(y), np.diff(z)
    cx, cy, cz = (0.5 * (a[1:] + a[:-1]) for a in (x, y, z))
    k = stacks.conductivity(case, *np.meshgrid(cx, cy, cz, indexing="ij"))
    solid = ~np.isnan(k[0])
    k = np.where(np.isnan(k), 0.0, k)
    number = np.arange(nx * ny * nz).reshape(nx, ny, nz)
    rows, columns, values = [], [], []

    def link(a, b, g):
        a, b, g = a.ravel(), b.ravel(), g.ravel()
        use = g > 0.0
        a, b, g = a[use], b[use], g[use]
        rows.extend([a, b, a, b])
        columns.extend([a, b, b, a])
        values.extend([g, g, -g, -g])

    def gather(cells, axes):
        """Adds every brick's share to the edges (or nodes) around it along `axes`."""
        for axis in axes:
            pad = [(0, 0)] * 3
            low, high = list(pad), list(pad)
            low[axis], high[axis] = (0, 1), (1, 0)
            cells = np.pad(cells, low) + np.pad(cells, high)
        return cells

    ax, ay, az = dx[:, None, None], dy[None, :, None], dz[None, None, :]
    link(number[:-1], number[1:], gather(k[0] * ay * az / ax / 4.0, (1, 2)))
    link(number[:, :-1], number[:, 1:], gather(k[1] * ax * az / ay / 4.0, (0, 2)))
    link(number[:, :, :-1], number[:, :, 1:], gather(k[2] * ax * ay / az / 4.0, (0, 1)))

    def spread(level, flux):
        """Quarter of each tile's value goes to each of its corners, on grid level `level`."""
        tile = gather((flux * dx[:, None] * dy[None, :] / 4.0)[:, :, None], (0, 1))[:, :, 0]
        out = np.zeros((nx, ny, nz))
        out[:, :, level] = tile
        return out

    mx, my = np.meshgrid(cx, cy, indexing="ij")
    film = spread(0, np.full((nx - 1, ny - 1), case["htc_below_W_m2K"]))
    top = solid.shape[2] - np.argmax(solid[:, :, ::-1], axis=2)
    htc = stacks.htc_above(case, mx, my)
    for level in np.unique(top):
        film += spread(level, np.where(top == level, htc, 0.0))
    rows.append(number.ravel())
    columns.append(number.ravel())
    values.append(film.ravel())
    load = np.zeros((nx, ny, nz))
    faces = []
    for height, r, flux, name in stacks.sources(case):
        level = int(np.argmin(abs(z - height)))
        over = stacks.inside(r, mx, my)
        load += spread(level, np.where(over, flux(mx, my), 0.0))
        faces.append((name, level, over))
    matrix = scipy.sparse.csc_matrix(
        (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))), shape=(number.size,) * 2
    )
    used = np.nonzero(matrix.diagonal() > 0.0)[0]
    factors = scipy.sparse.linalg.splu(
        matrix[used][:, used], permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True}
    )
    rise = np.full(number.size, np.nan)
    rise[used] = factors.solve(load.ravel()[used])
    rise = rise.reshape(nx, ny, nz)
    out = []
    for name, level, over in faces:
        t = rise[:, :, level]
        tile = 0.25 * (t[:-1, :-1] + t[1:, :-1] + t[:-1, 1:] + t[1:, 1:])
        area = dx[:, None] * dy[None, :]
        corner = np.pad(over, ((0, 1), (0, 1))) | np.pad(over, ((1, 0), (0, 1))) | np.pad(over, ((0, 1), (1, 0))) | np.pad(over, ((1, 0), (1, 0)))
        out.append((name, float((tile * area)[over].sum() / area[over].sum()), float(t[corner].max())))
    return out, used.size


def refined(lines):
    return np.sort(np.concatenate([lines, 0.5 * (lines[1:] + lines[:-1])]))


def grid(case, plane_cells, slices):
    x = stacks.graded(stacks.plane_edges(case, 0), plane_cells[0], 8.0)
    y = stacks.graded(stacks.plane_edges(case, 1), plane_cells[1], 8.0)
    heights = np.concatenate([stacks.layer_tops(case), stacks.island_tops(case)[1:]])
    z = [heights[0]]
    for a, b in zip(heights[:-1], heights[1:]):
        z.extend(np.linspace(a, b, slices + 1)[1:].tolist())
        z[-1] = b
    return x, y, np.array(z)


def main():
    cases = []
    for case in stacks.CASES:
        # The case with many edges has many cells as it is.
        many = len(case["die"]) > 1
        lines = grid(case, (16, 13) if many else (26, 22), 2 if many else 3)
        coarse, _ = solve(case, *lines)
        fine, unknowns = solve(case, *map(refined, lines))
        junctions = []
        for (name, mean_c, max_c), (_, mean_f, max_f) in zip(coarse, fine):
            junctions.append(
                {
                    "name": name,
                    "mean_rise_K": mean_f + (mean_f - mean_c) / 3.0,
                    "max_rise_K": max_f + (max_f - max_c) / 3.0,
                    "mean_accuracy_K": abs(mean_f - mean_c) / 3.0,
                    "max_accuracy_K": abs(max_f - max_c) / 3.0,
                }
            )
        print(case["name"], unknowns, junctions, flush=True)
        cases.append(dict(case, junctions=junctions))
    record = {"library": f"SciPy {scipy.__version__}", "script": "finite_volumes.py", "cases": cases}
    path = pathlib.Path(__file__).with_name("finite_volumes.json")
    path.write_text(json.dumps(record, indent=1) + "\n")


if __name__ == "__main__":
    main()
