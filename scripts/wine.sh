#!/bin/sh
# Runs a Windows program under Wine, in a prefix of its own that is made the
# first time. usage: scripts/wine.sh PROGRAM [ARGUMENT...]
set -eu
export WINEPREFIX="${WINEPREFIX:-${XDG_CACHE_HOME:-$HOME/.cache}/stillspan-wine}"
export WINEDEBUG=-all WINEDLLOVERRIDES="mscoree,mshtml=" DISPLAY=""
system="$WINEPREFIX/drive_c/windows/system32"
if [ ! -e "$system/bcryptprimitives.dll" ]; then
	wineboot -i >/dev/null 2>&1
	# Go asks this library of Windows for random numbers; Wine 8 has none.
	src="$(mktemp -d)"
	trap 'rm -rf "$src"' EXIT
	cat >"$src/random.c" <<'C'
#include <windows.h>
BOOLEAN NTAPI SystemFunction036(PVOID, ULONG);
__declspec(dllexport) BOOL WINAPI ProcessPrng(PBYTE p, SIZE_T n) {
	while (n > 0) {
		ULONG part = n > 1 << 20 ? 1 << 20 : (ULONG)n;
		if (!SystemFunction036(p, part)) return FALSE;
		p += part, n -= part;
	}
	return TRUE;
}
C
	x86_64-w64-mingw32-gcc -shared -O2 -o "$system/bcryptprimitives.dll" "$src/random.c" -ladvapi32
	rm -rf "$src"
	trap - EXIT
fi
exec wine "$@"
