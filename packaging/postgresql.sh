#!/bin/sh
# Prints the folder of PostgreSQL's programs for the tests: $POSTGRESQL_BIN, the system's newest, or one installed now from
# the distribution. Ends with one sentence and status 1 where none can be had; the tests are never skipped in silence.
set -eu

answers() { [ -n "$1" ] && "$1/initdb" --version >/dev/null 2>&1; }

if [ -n "${POSTGRESQL_BIN:-}" ]; then
    answers "$POSTGRESQL_BIN" && { echo "$POSTGRESQL_BIN"; exit 0; }
    echo "POSTGRESQL_BIN is set to $POSTGRESQL_BIN, which holds no initdb that answers: correct it, or unset it." >&2
    exit 1
fi

known() {
    for folder in $(ls -d /usr/lib/postgresql/*/bin 2>/dev/null | sort -t / -k 5 -n -r); do
        answers "$folder" && { echo "$folder"; return 0; }
    done
    found="$(command -v initdb || true)"
    [ -n "$found" ] && answers "$(dirname "$found")" && { dirname "$found"; return 0; }
    return 1
}
known && exit 0

as_root=
if [ "$(id -u)" -ne 0 ]; then as_root="sudo -n"; fi
if command -v apt-get >/dev/null 2>&1 && { [ -z "$as_root" ] || $as_root true 2>/dev/null; }; then
    {
        $as_root apt-get update
        # the programs only: no server is to be started on this machine
        $as_root mkdir -p /etc/postgresql-common
        [ -e /etc/postgresql-common/createcluster.conf ] || echo "create_main_cluster = false" | \
            $as_root tee /etc/postgresql-common/createcluster.conf >/dev/null
        $as_root env DEBIAN_FRONTEND=noninteractive apt-get install --yes --no-install-recommends postgresql
    } </dev/null >&2 || true
    known && exit 0
fi
echo "Install PostgreSQL (on Debian: apt-get install postgresql) or set POSTGRESQL_BIN to the folder of its programs, then run make test again." >&2
exit 1
