#!/bin/sh
# Sets the program beside general-purpose libraries on the same recording and
# the same core: aubio's pitch methods `fcomb` and `yinfast`, and an
# analytic-signal pipeline of numpy and scipy. Prints error and time.
#
#   tests/benchmarks/versus.sh [MINUTES]     (10 when not said)
#
# Needs python3 with venv and a C compiler (aubio is built from its source).
# What it installs stays in target/versus.
set -eu
cd "$(dirname "$0")/../.."
target=${CARGO_TARGET_DIR:-target}
home=$target/versus
if [ ! -x "$home/bin/python" ]; then
    python3 -m venv "$home"
fi
"$home/bin/pip" install --quiet --disable-pip-version-check numpy scipy aubio
cargo build --quiet --release
# One core, and one thread of each library.
export OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 MKL_NUM_THREADS=1
pin=
if command -v taskset >/dev/null; then
    pin="taskset -c 0"
fi
exec $pin "$home/bin/python" tests/benchmarks/versus.py "$target/release/tapewright" "${1:-10}"
