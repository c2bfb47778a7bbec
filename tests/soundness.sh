#!/usr/bin/env bash
# What our threads hand to each other, looked at by what sees more than a test.
#
#   tests/soundness.sh                 all of the next three
#   tests/soundness.sh miri [SEEDS]    Miri: undefined behaviour and data races in
#                                      odd orders, 256 of them by default
#   tests/soundness.sh loom            loom: the orders of up to three interruptions of the ring,
#                                      and every order of the smaller hand-overs
#   tests/soundness.sh sanitizers      the sanitizers of threads and of addresses
#   tests/soundness.sh program         the sanitizers over the analysis, the keeper of
#                                      jobs and the log; builds all, takes long
#
# All but loom need a nightly Rust with Miri and the sources of the standard library.
# What is missing is said, and skipped only where TAPEWRIGHT_REQUIRE_LIVE is not 1.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
export CARGO_TARGET_DIR=${CARGO_TARGET_DIR:-$PWD/target}/soundness
package=tests/soundness/Cargo.toml

# For whom it is wanted; what it has to do.
have_nightly() {
    if cargo +nightly "${@:2}" >/dev/null 2>&1 &&
        [ -d "$(rustc +nightly --print sysroot)/lib/rustlib/src/rust/library" ]; then
        return
    fi
    echo "SKIPPED: $1 needs: rustup toolchain install nightly --component miri --component rust-src"
    [ "${TAPEWRIGHT_REQUIRE_LIVE:-}" != 1 ] && return 1
    exit 1
}

# Each test prints how many orders it has tried.
loom() {
    echo '== loom'
    RUSTFLAGS='--cfg loom' CARGO_TARGET_DIR=$CARGO_TARGET_DIR/loom \
        cargo test --locked --lib --manifest-path $package audio::tests:: -- --nocapture
}

# The hand-overs in many orders; the rest, which has one thread, once and without the
# tests of millions of samples.
miri() {
    echo "== Miri, $1 seeds"
    have_nightly Miri miri --version || return 0
    local tests=(cargo +nightly miri test --locked --lib --manifest-path $package --)
    export CARGO_TARGET_DIR=$CARGO_TARGET_DIR/miri
    MIRIFLAGS="-Zmiri-many-seeds=0..$1" "${tests[@]}" audio::tests::
    "${tests[@]}" ring:: callback:: pick:: --skip two_seconds --skip whatever_the_block
}

# With the standard library built anew, or its own hand-overs would not be seen.
sanitized() {
    local sanitizer=$1
    shift
    echo "== sanitizer: $sanitizer"
    RUSTFLAGS="-Zsanitizer=$sanitizer" CARGO_TARGET_DIR=$CARGO_TARGET_DIR/$sanitizer \
        cargo +nightly test --locked -Zbuild-std --target "$(rustc +nightly -vV | sed -n 's/^host: //p')" \
        --lib "$@"
}

both_sanitizers() {
    have_nightly 'a sanitizer' version || return 0
    sanitized thread "$@"
    sanitized address "$@"
}

case ${1:-all} in
miri) miri "${2:-256}" ;;
loom) loom ;;
sanitizers) both_sanitizers --manifest-path $package ;;
program) both_sanitizers -- audio:: commands::keeper commands::logging records:: ;;
all)
    loom
    (miri 256)
    both_sanitizers --manifest-path $package
    ;;
*)
    sed -n '2,/^set/s/^# \{0,1\}//p' "$0" >&2
    exit 2
    ;;
esac
