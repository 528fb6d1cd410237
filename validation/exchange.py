"""Reads what `solve --save npy,vtk,csv,mtx` wrote with general-purpose libraries and holds one
against the other: NumPy, VTK's own reader, SciPy's reader and direct solver.

    python3 -m pip install numpy scipy vtk
    sprayside solve CASE.toml -o OUT --save npy,vtk,csv,mtx
    python3 validation/exchange.py OUT

Ends with 0 when all agree. Not needed to build or test the program.
"""

import csv
import sys
from pathlib import Path

import numpy as np
import scipy.io
import scipy.sparse.linalg
import vtk
from vtk.util.numpy_support import vtk_to_numpy


def read_vtr(path):
    reader = vtk.vtkXMLRectilinearGridReader()
    reader.SetFileName(str(path))
    reader.Update()
    grid = reader.GetOutput()
    assert grid.GetNumberOfCells() > 0, f"{path}: no cells"
    data = grid.GetCellData()
    arrays = {data.GetArrayName(k): vtk_to_numpy(data.GetArray(k)) for k in range(data.GetNumberOfArrays())}
    lines = [vtk_to_numpy(axis) for axis in (grid.GetXCoordinates(), grid.GetYCoordinates(), grid.GetZCoordinates())]
    return arrays, lines


def agree(what, a, b, within):
    a, b = np.asarray(a, float).ravel(), np.asarray(b, float).ravel()
    assert a.shape == b.shape, f"{what}: {a.shape} and {b.shape}"
    assert (np.isnan(a) == np.isnan(b)).all(), f"{what}: gaps differ"
    worst = np.nanmax(np.abs(a - b), initial=0.0)
    print(f"{what}: {a.size} values, largest difference {worst:.1e} (allowed {within:.0e})")
    assert worst <= within, what


def main(folder):
    fields = np.load(folder / "fields.npz")
    arrays, (x, y, _) = read_vtr(folder / "surface.vtr")
    agree("lines across x, NumPy and VTK", fields["x_lines_m"], x, 0.0)
    agree("lines across y, NumPy and VTK", fields["y_lines_m"], y, 0.0)
    for name, values in arrays.items():
        agree(f"{name}, NumPy and VTK", fields[name], values, 0.0)
    with open(folder / "cells.csv", newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    surface = [float(row["surface_C"]) + 273.15 for row in rows]
    agree("surface, NumPy and CSV", fields["surface_K"], surface, 1e-6)

    space, _ = read_vtr(folder / "module.vtr")
    sheet = next(name for name in fields.files if name.startswith("sheet_"))
    count = fields[sheet].size
    agree(f"{sheet}, NumPy and the lowest plane in space", fields[sheet], space["temperature_K"][:count], 1e-9)

    matrix = scipy.io.mmread(folder / "operator.mtx").tocsc()
    rhs = scipy.io.mmread(folder / "rhs.mtx").ravel()
    rise = scipy.io.mmread(folder / "rise.mtx").ravel()
    residual = np.linalg.norm(matrix @ rise - rhs) / np.linalg.norm(rhs)
    print(f"operator: {matrix.shape[0]} unknowns, residual of the saved rise {residual:.1e}")
    assert residual < 1e-8
    if matrix.shape[0] <= 100_000:
        direct = scipy.sparse.linalg.spsolve(matrix, rhs)
        agree("rise, saved and SciPy's direct solver, K", rise, direct, 1e-6)
    print("all agree")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
