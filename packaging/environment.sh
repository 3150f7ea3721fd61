#!/bin/sh
# Makes the Python environment in the folder given, or says in one sentence what to install first.
set -eu

folder=${1:?folder of the environment}
enough='import sys; sys.exit(sys.version_info < (3, 11))'

if [ -x "$folder/bin/python" ] && "$folder/bin/python" -c "$enough" 2>/dev/null \
    && "$folder/bin/python" -m pip --version >/dev/null 2>&1; then
    exit 0
fi

python=
for name in ${PYTHON:-} python3 python3.14 python3.13 python3.12 python3.11; do
    if "$name" -c "$enough" >/dev/null 2>&1; then
        python=$name
        break
    fi
done
if [ -z "$python" ]; then
    echo "Install Python 3.11 or newer with venv (on Debian and Ubuntu: apt-get install python3 python3-venv), then run make again." >&2
    exit 1
fi
if ! "$python" -c 'import ensurepip, venv' >/dev/null 2>&1; then
    echo "Install venv for $("$python" -c 'import sys; print("Python %d.%d" % sys.version_info[:2])') (on Debian and Ubuntu: apt-get install python3-venv), then run make again." >&2
    exit 1
fi
"$python" -m venv --clear "$folder"
