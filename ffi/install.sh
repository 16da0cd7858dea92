#!/bin/sh
# Installs what `cargo build --release -p fitwright-ffi` made: install.sh PREFIX [TARGET_FOLDER]
# and the program that plug-ins run in, PREFIX/bin/fitwright-worker, if `cargo build --release -p fitwright` made it.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
prefix=${1:?usage: install.sh PREFIX [TARGET_FOLDER]}
built=${2:-$here/../target/release}
major=$(sed -n 's/^pub const FITW_ABI_MAJOR: u32 = \(.*\);/\1/p' "$here/src/version.rs")
minor=$(sed -n 's/^pub const FITW_ABI_MINOR: u32 = \(.*\);/\1/p' "$here/src/version.rs")
version=$major.$minor.0
mkdir -p "$prefix/include" "$prefix/lib/pkgconfig" "$prefix/lib/cmake/fitwright"
prefix=$(cd "$prefix" && pwd)
cp "$here"/../include/fitwright.h* "$prefix/include/"
cp "$built/libfitwright.a" "$prefix/lib/"
if [ -x "$built/fitwright-worker" ]; then
    mkdir -p "$prefix/bin"
    cp "$built/fitwright-worker" "$prefix/bin/"
fi
cp "$built/libfitwright.so" "$prefix/lib/libfitwright.so.$version"
ln -sf "libfitwright.so.$version" "$prefix/lib/libfitwright.so.$major"
ln -sf "libfitwright.so.$major" "$prefix/lib/libfitwright.so"
cp "$here/cmake/fitwrightConfig.cmake" "$prefix/lib/cmake/fitwright/"
sed "s|@VERSION@|$version|" "$here/cmake/fitwrightConfigVersion.cmake.in" >"$prefix/lib/cmake/fitwright/fitwrightConfigVersion.cmake"
sed "s|@VERSION@|$version|; s|@PREFIX@|$prefix|; s|@LIBDIR@|$prefix/lib|" "$here/fitwright.pc.in" >"$prefix/lib/pkgconfig/fitwright.pc"
