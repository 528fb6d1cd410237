"""One sheet with sources and patches, by FiPy's cell-centred finite volumes in the plane.

    -div(k t grad T) + U(x, y) T = share q

with U the conductance per area from the sheet's middle to the media on both faces. Grids of
1/4 and 1/8 mm whose lines meet every edge; Richardson's extrapolation at second order, and the
change between the grids as the stated accuracy.
Writes plate_fipy.json.

    pip install fipy
    python plate_fipy.py
"""

import json
import pathlib

import fipy
import numpy as np

MM = 1e-3
CASE = {
    "name": "one sheet, two sources, one patch",
    "size_m": [40 * MM, 28 * MM],
    "thickness_m": 1.0 * MM,
    "conductivity_W_mK": [22.0, 22.0, 22.0],
    "htc_below_W_m2K": 150.0,
    "htc_above_W_m2K": 2500.0,
    "patches": [{"rect_m": [5 * MM, 4 * MM, 20 * MM, 18 * MM], "htc_W_m2K": 9000.0}],
    "heaters": [
        {"rect_m": [8 * MM, 7 * MM, 18 * MM, 15 * MM], "power_W": 30.0},
        {"rect_m": [27 * MM, 14 * MM, 33 * MM, 24 * MM], "power_W": 12.0},
    ],
}


def solve(cell):
    nx, ny = (int(round(s / cell)) for s in CASE["size_m"])
    mesh = fipy.Grid2D(nx=nx, ny=ny, dx=cell, dy=cell)
    x, y = mesh.cellCenters.value

    def inside(r):
        return (x > r[0]) & (x < r[2]) & (y > r[1]) & (y < r[3])

    t, (kx, ky, kz) = CASE["thickness_m"], CASE["conductivity_W_mK"]
    half = 2.0 * kz / t
    h = np.full(x.shape, CASE["htc_above_W_m2K"])
    for p in CASE["patches"]:
        h[inside(p["rect_m"])] = p["htc_W_m2K"]
    loss = h * half / (h + half) + CASE["htc_below_W_m2K"] * half / (CASE["htc_below_W_m2K"] + half)
    flux = np.zeros(x.shape)
    for s in CASE["heaters"]:
        r = s["rect_m"]
        flux[inside(r)] += s["power_W"] / ((r[2] - r[0]) * (r[3] - r[1]))
    rise = fipy.CellVariable(mesh=mesh, value=0.0)
    equation = (
        fipy.DiffusionTerm(coeff=kx * t)
        - fipy.ImplicitSourceTerm(coeff=fipy.CellVariable(mesh=mesh, value=loss))
        + fipy.CellVariable(mesh=mesh, value=flux * half / (half + h))
    )
    equation.solve(var=rise, solver=fipy.LinearLUSolver(tolerance=1e-14, iterations=50))
    face = (flux + half * rise.value) / (half + h)
    return [(float(face[inside(s["rect_m"])].mean()), float(face[inside(s["rect_m"])].max())) for s in CASE["heaters"]]


def main():
    coarse, fine = solve(0.25 * MM), solve(0.125 * MM)
    junctions = [
        {
            "mean_rise_K": f[0] + (f[0] - c[0]) / 3.0,
            "max_rise_K": f[1] + (f[1] - c[1]) / 3.0,
            "mean_accuracy_K": abs(f[0] - c[0]),
            "max_accuracy_K": abs(f[1] - c[1]),
        }
        for c, f in zip(coarse, fine)
    ]
    print(junctions)
    record = {"library": f"FiPy {fipy.__version__}", "script": "plate_fipy.py", "case": CASE, "junctions": junctions}
    pathlib.Path(__file__).with_name("plate_fipy.json").write_text(json.dumps(record, indent=1) + "\n")


if __name__ == "__main__":
    main()
