#!/usr/bin/env bash
# The package is made, installed, used as a user would, and taken away again;
# cargo install puts the program where it belongs.
#
#   tests/package.sh [PROFILE]      default dev: what the tests have built
#
# On Debian or Ubuntu, as root or through sudo; who may not install unpacks the
# package into a folder and tries it there. Elsewhere it says why it does nothing.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
profile=${1:-dev}

skip() {
    echo "SKIPPED: $1"
    [ "${TAPEWRIGHT_REQUIRE_LIVE:-}" != 1 ]
    exit
}

fail() {
    echo "package: $1" >&2
    exit 1
}

for needed in dpkg man desktop-file-validate; do
    command -v "$needed" >/dev/null || skip "$needed is not there"
done

home=$HOME
folder=$(mktemp -d)
place=$folder/unpacked
as_root() { sudo "$@"; }
if [ "$(id -u)" -eq 0 ]; then
    as_root() { "$@"; }
fi
if dpkg-query -W tapewright >/dev/null 2>&1; then
    echo "NOT INSTALLED, only unpacked: tapewright is installed already, and stays as it is"
elif ! as_root true 2>/dev/null; then
    echo "NOT INSTALLED, only unpacked: a package is installed as root"
else
    place=
fi

clean() {
    [ -n "$place" ] || as_root dpkg --purge tapewright >/dev/null 2>&1 || true
    rm -rf "$folder"
}
trap clean EXIT
trap 'exit 1' HUP INT TERM
export HOME=$folder XDG_DATA_HOME=$folder/data XDG_CONFIG_HOME=$folder/config LC_ALL=C.UTF-8

package=$(HOME=$home sh assets/package.sh "$profile" | tail -n 1)
[ -f "$package" ] || fail "no package was made: $package"
version=$(dpkg -f "$package" Version)

if [ -n "$place" ]; then
    dpkg -x "$package" "$place"
    export PATH=$place/usr/bin:$PATH MANPATH=$place/usr/share/man
else
    # Some images leave manual pages out of what they install.
    as_root dpkg --path-include='/usr/share/man/*' --path-include='/usr/share/doc/*' -i "$package" >/dev/null
fi
cd "$folder"
[ "$(command -v tapewright)" = "$place/usr/bin/tapewright" ] || fail "the program is not at its place"
[ "$(tapewright --version)" = "tapewright ${version%-*}" ] ||
    fail "program and package differ in their version"
# Right and slow: what says only that a figure is there would take both.
tapewright --quiet tone 3150 --seconds 12 --output-file tone.wav >/dev/null
tapewright read --reference 3150 tone.wav | grep -Eq '^  Speed +[-+]?0\.00[0-9] ' || fail "a true tone does not read right"
tapewright read --reference tone:3180 tone.wav | grep -Eq '^  Speed +-0\.94[0-9] ' || fail "a slow tone does not read slow"
man -w tapewright >/dev/null && man -w tapewright-read >/dev/null && man -w 7 tapewright-safety >/dev/null ||
    fail "man does not find the pages"
MANWIDTH=80 man tapewright-read | grep -q -- --resume || fail "man does not show the page of read"
for file in bash-completion/completions/tapewright zsh/vendor-completions/_tapewright \
    fish/vendor_completions.d/tapewright.fish icons/hicolor/scalable/apps/tapewright.svg \
    doc/tapewright/copyright; do
    [ -s "$place/usr/share/$file" ] || fail "$place/usr/share/$file is not there"
done
desktop-file-validate "$place/usr/share/applications/tapewright.desktop"
cd - >/dev/null
if command -v lintian >/dev/null; then
    # What it has against this package and why that stands: assets/desktop/lintian
    lintian --allow-root --fail-on error,warning --suppress-tags-from-file assets/desktop/lintian "$package" ||
        fail "lintian complains"
fi
if [ -z "$place" ]; then
    as_root dpkg --purge tapewright >/dev/null
    [ ! -e /usr/bin/tapewright ] && [ ! -e /usr/share/applications/tapewright.desktop ] || fail "it was not taken away whole"
fi

# The same build once more, where cargo puts programs.
case $profile in
dev) how=--debug ;;
*) how= ;;
esac
HOME=$home cargo install --quiet --locked $how --path . --root "$folder/cargo"
"$folder/cargo/bin/tapewright" --version >/dev/null || fail "cargo install made no program that runs"
echo "package and cargo install: all as it should be ($(du -h "$package" | cut -f1))"
