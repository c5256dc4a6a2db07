#!/bin/sh
# Builds ffmpeg.exe and ffprobe.exe of this Debian's own ffmpeg and x264 for
# the tests under Wine. usage: scripts/ffmpeg-windows.sh OUTDIR
# Takes some minutes.
set -eu
out="$(mkdir -p "$1" && cd "$1" && pwd)"
work="$(mktemp -d)"
trap 'rm -rf "$work"' EXIT
apt-get install -y -qq --no-install-recommends gcc-mingw-w64-x86-64-win32 g++-mingw-w64-x86-64-win32 nasm make pkg-config libz-mingw-w64-dev dpkg-dev >/dev/null
cd "$work"
mkdir -p parts lists/partial
sed 's/^Types: deb$/Types: deb-src/' /etc/apt/sources.list.d/debian.sources >parts/debian.sources
sources="-qq -o Dir::Etc::SourceList=/dev/null -o Dir::Etc::SourceParts=$work/parts -o Dir::State::Lists=$work/lists"
# shellcheck disable=SC2086
apt-get $sources update && apt-get $sources source ffmpeg x264 >/dev/null 2>&1
(
	cd x264-*/
	./configure --host=x86_64-w64-mingw32 --cross-prefix=x86_64-w64-mingw32- --enable-static --disable-cli --prefix="$work/x264" >/dev/null
	make -s -j"$(nproc)" install >/dev/null 2>&1
)
cd ffmpeg-*/
PKG_CONFIG_PATH="$work/x264/lib/pkgconfig" ./configure --target-os=mingw32 --arch=x86_64 \
	--cross-prefix=x86_64-w64-mingw32- --pkg-config=pkg-config --pkg-config-flags=--static --enable-gpl --enable-libx264 --enable-zlib \
	--disable-everything --disable-doc --disable-network --disable-autodetect --disable-debug \
	--enable-protocol=file,pipe --enable-demuxer=image2,image2pipe,mov,matroska,concat,rawvideo,image_jpeg_pipe,image_png_pipe,image_ppm_pipe \
	--enable-decoder=mjpeg,png,ppm,pgm,tiff,rawvideo,h264,prores,ffv1 --enable-parser=mjpeg,png,pnm,h264 \
	--enable-encoder=libx264,prores_ks,png,mjpeg,rawvideo,ffv1,wrapped_avframe --enable-muxer=mp4,mov,matroska,rawvideo,image2,null \
	--enable-filter=scale,format,crop,transpose,hflip,vflip,null,setparams,tile,pad,fps --enable-bsf=h264_mp4toannexb >/dev/null
make -s -j"$(nproc)" ffmpeg.exe ffprobe.exe >/dev/null 2>&1
cp ffmpeg.exe ffprobe.exe "$out"
