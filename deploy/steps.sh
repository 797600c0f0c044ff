#!/bin/sh
# The steps of the Containerfile, so that they can also be run on a clean root without an engine (deploy/try-steps.sh).
#
#   steps.sh system build | run     packages of the system, and the user
#   steps.sh install [CHECKOUT]     driftbook with its locked libraries into /opt/driftbook, from /src or a checkout elsewhere
#   steps.sh keep                   what 'install' does first: the version that is there, beside it as /opt/driftbook-REVISION
set -eu

# Of a book on a database server only the version that wrote it makes a backup: it has to be there when that was forgotten.
keep() {
    revision=$(/opt/driftbook/bin/driftbook --version 2>/dev/null | sed -n 's/.* of revision //p')
    [ -n "$revision" ] || return 0
    kept=/opt/driftbook-$revision
    rm -rf "$kept"
    cp -a /opt/driftbook "$kept"
    sed -i "1s|^#!/opt/driftbook/|#!$kept/|" "$kept/bin/driftbook"
    echo "The version that was there is kept: $kept/bin/driftbook"
}

case "${1:-}" in
system)
    export DEBIAN_FRONTEND=noninteractive
    apt-get update -q
    if [ "${2:-run}" = build ]; then
        apt-get install -qy --no-install-recommends python3 python3-venv ca-certificates
    else
        apt-get install -qy --no-install-recommends python3 tzdata ca-certificates
        useradd --system --uid 875 --home-dir /book --create-home --shell /usr/sbin/nologin driftbook
    fi
    rm -rf /var/lib/apt/lists/*
    ;;
keep)
    keep
    ;;
install)
    keep
    source=$(realpath "${2:-/src}")
    work=$(mktemp -d)
    trap 'rm -rf "$work"' EXIT
    python3 -m venv /opt/driftbook
    pip() { /opt/driftbook/bin/pip "$@" --disable-pip-version-check --no-cache-dir -q; }
    # Which libraries are needed without those of the tests; then exactly these by version and hash, and the package.
    sed -e 's/ *\\$//' -e '/--hash/d' "$source/requirements.lock" >"$work/versions"
    pip install --dry-run --ignore-installed --report "$work/needed.json" --constraint "$work/versions" "$source[postgres]"
    python3 - "$work/needed.json" "$source/requirements.lock" <<'END' >"$work/needed.lock"
import json, re, sys
needed = {re.sub(r"[-_.]+", "-", one["metadata"]["name"]).lower() for one in json.load(open(sys.argv[1]))["install"]}
for block in re.split(r"\n(?=\S)", open(sys.argv[2]).read()):
    if re.sub(r"[-_.]+", "-", re.split(r"[=\s\[]", block, maxsplit=1)[0]).lower() in needed:
        print(block)
END
    pip install --require-hashes --no-deps --requirement "$work/needed.lock"
    pip install --no-deps "$source"
    /opt/driftbook/bin/driftbook --version
    ;;
*)
    echo "steps.sh system build|run, steps.sh install [CHECKOUT], or steps.sh keep" >&2
    exit 2
    ;;
esac
