#!/bin/sh
# Many recordings on one core and on two, and the memory that 10 000 take.
#
#   sh tests/benchmarks/many.sh [PROGRAM]      default target/release/tapewright
#
# Prints a line for each: how it was run, seconds, times as fast as real time,
# highest memory. Needs taskset and python3, and a machine that does nothing
# else meanwhile.
set -eu
cd "$(dirname "$0")/../.."
program=${1:-target/release/tapewright}
[ -x "$program" ] || {
    echo "many: $program is not there; build it (cargo build --release) or name another" >&2
    exit 1
}
program=$(cd "$(dirname "$program")" && pwd)/$(basename "$program")
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
trap 'exit 1' HUP INT TERM
export HOME="$folder" XDG_DATA_HOME="$folder/data" XDG_CONFIG_HOME="$folder/config"
cd "$folder"

# 24 recordings of two minutes, 48 kHz in two channels.
mkdir long
"$program" --quiet tone 3150 --seconds 120 --output-file long/01.wav >/dev/null
for number in $(seq 2 24); do
    ln long/01.wav "$(printf 'long/%02d.wav' "$number")"
done
# 10 000 and 1000 of a second, 8 kHz in one channel.
mkdir small few
"$program" --quiet tone 3150 --seconds 1 --rate 8000 --mono --output-file small/00001.wav >/dev/null
for number in $(seq 2 10000); do
    ln small/00001.wav "$(printf 'small/%05d.wav' "$number")"
done
for number in $(seq 1 1000); do
    ln small/00001.wav "$(printf 'few/%04d.wav' "$number")"
done

# timed WHAT SECONDS-OF-SOUND COMMAND...
timed() {
    python3 - "$@" <<'PYTHON'
import resource, subprocess, sys, time
what, sound, command = sys.argv[1], float(sys.argv[2]), sys.argv[3:]
begun = time.monotonic()
subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
took = time.monotonic() - begun
memory = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
print(f"{what:<42} {took:8.2f} s {sound / took:8.0f} x {memory:6.1f} MiB", flush=True)
PYTHON
}

read_in="--quiet read --json --reference 3150"
# Two words and more.
# shellcheck disable=SC2086
for run in 1 2; do
    timed "24 of 120 s, one core, --parallel 1" 2880 taskset -c 0 "$program" $read_in --parallel 1 long
    timed "24 of 120 s, two cores, --parallel 1" 2880 taskset -c 0,1 "$program" $read_in --parallel 1 long
    timed "24 of 120 s, two cores, --parallel 2" 2880 taskset -c 0,1 "$program" $read_in --parallel 2 long
done
# shellcheck disable=SC2086
timed "1000 of 1 s, two cores" 1000 taskset -c 0,1 "$program" $read_in few
# shellcheck disable=SC2086
timed "10000 of 1 s, two cores" 10000 taskset -c 0,1 "$program" $read_in small
