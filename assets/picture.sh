#!/bin/sh
# Makes assets/screen.svg from the real program: a rehearsal in a terminal of
# 80 by 24, worked with keys as a technician would, read back and drawn.
#
#   sh assets/picture.sh [PROGRAM]      default target/release/tapewright
#
# Needs tmux and python3. The machine in the picture is simulated. Takes about
# a minute and a half.
set -eu
cd "$(dirname "$0")/.."
program=${1:-target/release/tapewright}
[ -x "$program" ] || {
    echo "picture: $program is not there; build it (cargo build --release) or name another" >&2
    exit 1
}
program=$(cd "$(dirname "$program")" && pwd)/$(basename "$program")

folder=$(mktemp -d)
on_screen() { tmux -S "$folder/tmux" -f /dev/null "$@"; }
trap 'on_screen kill-server 2>/dev/null || true; rm -rf "$folder"' EXIT
trap 'exit 1' HUP INT TERM

press() {
    for key in "$@"; do
        on_screen send-keys -t picture "$key"
        sleep 0.2
    done
}

# wait_for SECONDS TEXT: until the screen shows it.
wait_for() {
    left=$1
    until on_screen capture-pane -t picture -p | grep -q -e "$2"; do
        left=$((left - 1))
        [ "$left" -gt 0 ] || {
            echo "picture: waited $1 s in vain for \"$2\"; the screen shows:" >&2
            on_screen capture-pane -t picture -p >&2
            exit 1
        }
        sleep 1
    done
}

# A record of its own, so that the user's is left alone.
LC_ALL=C.UTF-8 TERM=xterm-256color on_screen new-session -d -s picture -x 80 -y 24 \
    "'$program' practise 1 --data '$folder'"
wait_for 30 'settled'
press b
wait_for 60 'kept before'
press p
wait_for 10 'power OFF'
press c c c c c
wait_for 20 'cleaned 5x'
press p
wait_for 30 'settled'
press Down Down Down Down Down Down Down Down Down Down
wait_for 30 'settled'
# Until the flutter figures and the drift are valid again.
wait_for 60 'weighted 2-sigma 0'
wait_for 60 'drift [-+ ]*[0-9].* %/min'
sleep 2
wait_for 20 'tone found'

on_screen capture-pane -t picture -e -p >"$folder/screen.txt"
on_screen capture-pane -t picture -p | grep -q SIMULATED
python3 assets/picture.py <"$folder/screen.txt" >"$folder/screen.svg"
cp "$folder/screen.svg" assets/screen.svg
on_screen capture-pane -t picture -p
