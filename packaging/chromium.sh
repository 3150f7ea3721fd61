#!/bin/sh
# Prints the path of a Chromium for the browser tests: $CHROMIUM, the system's, or one installed now from the
# distribution. The one without windows comes first: it opens a page for a fifth of the work of the whole browser, which
# serves where that one cannot be had. Ends with one sentence and status 1 without any; the tests are never skipped in silence.
set -eu

answers() { [ -n "$1" ] && "$1" --version >/dev/null 2>&1; }

if [ -n "${CHROMIUM:-}" ]; then
    answers "$CHROMIUM" && { echo "$CHROMIUM"; exit 0; }
    echo "CHROMIUM is set to $CHROMIUM, which does not answer to --version: correct it, or unset it to use the system's." >&2
    exit 1
fi

known() {
    for name in "$@"; do
        answers "$name" && { echo "$name"; return 0; }
    done
    return 1
}
windowless() { known /usr/lib/chromium/chromium-headless-shell /usr/bin/chromium-headless-shell; }
whole() { known /usr/bin/chromium /usr/bin/chromium-browser /snap/bin/chromium; }
windowless && exit 0

as_root=
if [ "$(id -u)" -ne 0 ]; then as_root="sudo -n"; fi
if command -v apt-get >/dev/null 2>&1 && { [ -z "$as_root" ] || $as_root true 2>/dev/null; }; then
    install() { $as_root env DEBIAN_FRONTEND=noninteractive apt-get install --yes "$@"; }
    {
        $as_root apt-get update
        install --no-install-recommends chromium-headless-shell || whole >/dev/null \
            || install --no-install-recommends chromium || install chromium-browser
    } </dev/null >&2 || true
    windowless && exit 0
fi
whole && exit 0
echo "Install Chromium (on Debian: apt-get install chromium) or set CHROMIUM to the path of one, then run make test again." >&2
exit 1
