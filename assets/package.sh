#!/bin/sh
# Makes the Debian package: program, manual pages, completions for bash, zsh and
# fish, an entry in the menu with its icon.
#
#   sh assets/package.sh [PROFILE]      default release; dev packs what
#                                       cargo build has built
#
# Says where the package is. Needs dpkg; cargo-deb is installed into the build
# folder where it is missing.
set -eu
cd "$(dirname "$0")/.."
profile=${1:-release}
target=${CARGO_TARGET_DIR:-target}
case $profile in
dev) built=debug ;;
*) built=$profile ;;
esac
command -v dpkg >/dev/null || {
    echo "package: dpkg is not there; the package is for Debian, Ubuntu and their kin" >&2
    exit 1
}

# This version and no other, so that the package is the same everywhere.
cargo_deb_version=3.8.0
cargo_deb=$target/tools/bin/cargo-deb
if ! "$cargo_deb" --version 2>/dev/null | grep -q "$cargo_deb_version"; then
    echo "package: installing cargo-deb $cargo_deb_version" >&2
    # It packs one file: built fast is worth more than made fast.
    CARGO_PROFILE_RELEASE_LTO=false CARGO_PROFILE_RELEASE_OPT_LEVEL=1 \
        CARGO_PROFILE_RELEASE_CODEGEN_UNITS=16 \
        cargo install --quiet --locked --root "$target/tools" "cargo-deb@$cargo_deb_version" >&2
fi

cargo build --quiet --locked --profile "$profile" >&2
rm -rf target/package
mkdir -p target/package/man1 target/package/man7 target/package/completions
program=target/package/tapewright
strip -o "$program" "$target/$built/tapewright"
"$program" manpages target/package
mv target/package/*.1 target/package/man1
mv target/package/*.7 target/package/man7
"$program" completions bash >target/package/completions/tapewright
"$program" completions zsh >target/package/completions/_tapewright
"$program" completions fish >target/package/completions/tapewright.fish
"$cargo_deb" --no-build --no-strip --output target/package
