#!/usr/bin/env bash
# usage: benches/peers/run.sh [A512 B256 ...]
# Installs the general-purpose peers, solves the same matrices with them and with ours on this
# machine, one after the other, and prints one table with ratios. Root is needed for the Debian
# packages unless they are there. Leave the machine idle: all of this is bound by bandwidth.
# PEERS=hypre leaves the slow ones out (of "hypre python faer"), for the largest sizes.
set -euo pipefail
cd "$(dirname "$0")/../.."
names=("$@")
[ ${#names[@]} -gt 0 ] || names=(A512 A1024 A2048 B256 B512 B1024)
peers=${PEERS:-hypre python faer}
work=target/peers
mkdir -p "$work"
has() { [[ $peers == *$1* ]]; }
packages=()
if has hypre && { ! command -v mpicc >/dev/null || [ ! -e /usr/include/hypre/HYPRE.h ]; }; then
    packages+=(libhypre-dev libopenmpi-dev openmpi-bin)
fi
if has python && [ ! -e /usr/include/suitesparse/cholmod.h ]; then
    packages+=(libsuitesparse-dev python3-venv)
fi
if [ ${#packages[@]} -gt 0 ]; then
    apt-get update -qq
    apt-get install -y -qq "${packages[@]}"
fi
if has python && [ ! -x "$work/venv/bin/python" ]; then
    python3 -m venv "$work/venv"
    "$work/venv/bin/pip" -q install numpy scipy pyamg
    SUITESPARSE_INCLUDE_DIR=/usr/include/suitesparse "$work/venv/bin/pip" -q install "scikit-sparse<0.5" ||
        echo "CHOLMOD is left out: scikit-sparse does not build here" >&2
fi
if has hypre; then
    mpicc -O2 -I/usr/include/hypre -o "$work/hypre_driver" benches/peers/hypre_driver.c -lHYPRE -lm
fi
bench() { cargo bench -q -p sprayside_solver --bench "$1" -- "${@:2}"; }
bench solver export "$PWD/$work" "${names[@]}"
results="$PWD/$work/results.csv"
: >"$results"
mpi() { OMP_NUM_THREADS=1 mpirun --allow-run-as-root --oversubscribe -n 2 "$@"; }
for name in "${names[@]}"; do
    matrix="$work/$name.bin"
    has hypre && [[ $name == A* ]] && mpi "$work/hypre_driver" pfmg "$matrix" "$name" >>"$results"
    has hypre && mpi "$work/hypre_driver" boomeramg "$matrix" "$name" >>"$results"
    has python && "$work/venv/bin/python" benches/peers/peers.py "$matrix" "$name" >>"$results"
    has faer && bench faer_cholesky "$name" >>"$results"
    rm -f "$matrix"
done
bench solver peers "$results" "${names[@]}"
