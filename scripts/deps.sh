#!/bin/sh
# Installs the programs that are missing, by this system's package manager.
# usage: scripts/deps.sh run|test|windows
set -eu

missing() { ! command -v "$1" >/dev/null 2>&1; }

want=""
need() { # program, package by apt, dnf, brew
	if missing "$1"; then want="$want $1:$2:$3:$4"; fi
}

need ffmpeg ffmpeg ffmpeg-free ffmpeg
need ffprobe ffmpeg ffmpeg-free ffmpeg
if [ "${1:-run}" = test ]; then
	need exiftool libimage-exiftool-perl perl-Image-ExifTool exiftool
	need dcraw_emu libraw-bin LibRaw-samples libraw
	need convert imagemagick ImageMagick imagemagick
	need heif-enc libheif-examples libheif-tools libheif
	need transicc liblcms2-utils lcms2-utils little-cms2
	need cjxl libjxl-tools libjxl-utils jpeg-xl
	need chromium chromium chromium chromium
fi
if [ "${1:-run}" = windows ]; then
	need wine wine wine wine-stable
	need x86_64-w64-mingw32-gcc gcc-mingw-w64-x86-64-win32 mingw64-gcc mingw-w64
fi
[ -n "$want" ] || exit 0

as_root=""
if [ "$(id -u)" != 0 ]; then as_root="sudo"; fi

pick() { # field number
	for w in $want; do echo "$w" | cut -d: -f"$1"; done | sort -u
}

echo "installing:$(for w in $want; do printf ' %s' "${w%%:*}"; done)" >&2
if ! missing apt-get; then
	$as_root apt-get update -qq
	# shellcheck disable=SC2046
	DEBIAN_FRONTEND=noninteractive $as_root apt-get install -y -qq --no-install-recommends $(pick 2) >/dev/null
elif ! missing dnf; then
	# shellcheck disable=SC2046
	$as_root dnf install -y -q $(pick 3)
elif ! missing brew; then
	# shellcheck disable=SC2046
	brew install $(pick 4)
else
	echo "scripts/deps.sh: no apt-get, dnf or brew here: please install$want by hand" >&2
	exit 1
fi
