"""Solves an exported matrix with general-purpose Python peers.

    python peers.py MATRIX.bin NAME

Prints one line a peer: NAME,peer,setup_s,solve_s,iterations,true_residual,bytes_per_unknown.
Bytes: growth of peak resident memory over setup and solve, each peer in a process of its own.
Direct solvers are left out above the sizes at which they fill the memory of a small machine.
"""

import os
import resource
import struct
import sys
import time

import numpy as np
import pyamg
import scipy.sparse as sparse
import scipy.sparse.linalg as linalg

try:
    from sksparse.cholmod import cholesky
except ImportError:  # not built on this machine
    cholesky = None


def read(path):
    with open(path, "rb") as file:
        n, entries = struct.unpack("<QQ", file.read(16))
        start = np.fromfile(file, "<u8", n + 1)
        column = np.fromfile(file, "<u4", entries).astype(np.int32)
        value = np.fromfile(file, "<f8", entries)
        b = np.fromfile(file, "<f8", n)
    if len(b) != n:
        sys.exit(f"{path} is too short")
    return sparse.csr_matrix((value, column, start.astype(np.int32)), shape=(n, n)), b


def peak():
    return 1024 * resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def run(name, peer, matrix, b, prepare, solve):
    sys.stdout.flush()
    child = os.fork()
    if child:
        os.waitpid(child, 0)
        return
    before = peak()
    t0 = time.perf_counter()
    prepared = prepare()
    t1 = time.perf_counter()
    x, iterations = solve(prepared)
    t2 = time.perf_counter()
    residual = np.linalg.norm(b - matrix @ x) / np.linalg.norm(b)
    per_unknown = (peak() - before) / len(b)
    print(
        f"{name},{peer},{t1 - t0:.5f},{t2 - t1:.5f},{iterations},{residual:.2e},{per_unknown:.0f}",
        flush=True,
    )
    os._exit(0)


def with_cg(matrix, b):
    def solve(hierarchy):
        residuals = []
        x = hierarchy.solve(b, tol=1e-10, accel="cg", residuals=residuals, maxiter=300)
        return x, len(residuals) - 1

    return solve


def main():
    path, name = sys.argv[1:3]
    matrix, b = read(path)
    n = len(b)
    run(name, "PyAMG smoothed aggregation + CG", matrix, b,
        lambda: pyamg.smoothed_aggregation_solver(matrix), with_cg(matrix, b))
    run(name, "PyAMG Ruge-Stueben + CG", matrix, b,
        lambda: pyamg.ruge_stuben_solver(matrix), with_cg(matrix, b))
    if cholesky is not None and n <= 5_000_000:
        run(name, "SuiteSparse CHOLMOD", matrix, b,
            lambda: cholesky(matrix.tocsc()), lambda factor: (factor(b), 0))
    if n <= 1_100_000:
        run(name, "SciPy SuperLU", matrix, b,
            lambda: linalg.splu(matrix.tocsc(), permc_spec="MMD_AT_PLUS_A",
                                options={"SymmetricMode": True}, diag_pivot_thresh=0.0),
            lambda factor: (factor.solve(b), 0))


main()
