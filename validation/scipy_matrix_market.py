#!/usr/bin/env python3
"""Solves the solver's own systems with SciPy's sparse direct solver and compares.

Exports matrix, right-hand side and solution of the reference modules as Matrix Market files,
reads them with scipy.io, checks that the matrix is symmetric, solves with SuperLU, and asks for
agreement of every unknown to 1e-8 of the largest rise.

    python3 validation/scipy_matrix_market.py

Installs SciPy into a virtual environment under target/ if this Python has none. Exit code 1 when
a system disagrees.
"""

import os
import pathlib
import subprocess
import sys

ROOT = pathlib.Path(__file__).resolve().parent.parent
AGREEMENT = 1e-8


def with_scipy():
    """Runs this script again in an environment that has SciPy, once."""
    try:
        import scipy  # noqa: F401
    except ImportError:
        python = ROOT / "target" / "validation-python" / "bin" / "python"
        if sys.executable == str(python):
            raise
        if not python.exists():
            subprocess.run([sys.executable, "-m", "venv", str(python.parent.parent)], check=True)
        subprocess.run([str(python), "-m", "pip", "install", "--quiet", "scipy"], check=True)
        os.execv(str(python), [str(python), __file__])


def main():
    import numpy
    import scipy.io
    import scipy.sparse.linalg

    folder = ROOT / "target" / "matrix-market"
    command = ["cargo", "run", "--quiet", "--release", "-p", "sprayside_validation", "--bin", "export_system", "--"]
    subprocess.run(command + [str(folder)], check=True, cwd=ROOT)
    failed = 0
    for path in sorted(folder.glob("*-matrix.mtx")):
        case = path.name.removesuffix("-matrix.mtx")
        matrix = scipy.io.mmread(path).tocsc()
        rhs, ours = (scipy.io.mmread(folder / f"{case}-{name}.mtx").ravel() for name in ("rhs", "solution"))
        theirs = scipy.sparse.linalg.spsolve(matrix, rhs)
        difference = abs(theirs - ours).max() / abs(theirs).max()
        smallest = scipy.sparse.linalg.eigsh(matrix, k=1, sigma=0, return_eigenvectors=False)[0]
        holds = difference <= AGREEMENT and abs(matrix - matrix.T).max() == 0.0 and smallest > 0.0
        failed += not holds
        print(
            f"{'holds' if holds else 'FAILS'} system {case}: {matrix.shape[0]} unknowns, largest difference "
            f"{difference:.1e} of the largest rise, smallest eigenvalue {smallest:.2e} W/K "
            f"(SciPy {scipy.__version__}, NumPy {numpy.__version__})"
        )
    return 1 if failed else 0


if __name__ == "__main__":
    with_scipy()
    sys.exit(main())
