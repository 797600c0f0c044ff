#!/bin/sh
# Runs the steps of the Containerfile on a clean Debian root made with debootstrap, where no container engine is at hand.
#
#   sudo deploy/try-steps.sh FOLDER         (an empty folder; about 1 GB)
#
# The address of a mirror and the settings of pip are taken from this machine (sources.list, pip.conf, environment);
# PIP_CERT is taken along, and BIND names folders with packages that pip.conf speaks of.
set -eu
root=$1
here=$(cd "$(dirname "$0")/.." && pwd)
mirror=${MIRROR:-$(grep -rhoE 'https?://[^ ]+/debian/?( |$)' /etc/apt/sources.list /etc/apt/sources.list.d 2>/dev/null | head -n 1)}

debootstrap --variant=minbase bookworm "$root" "${mirror% }"
for file in /etc/apt/apt.conf.d /etc/resolv.conf /etc/pip.conf "${HOME}/.config/pip/pip.conf"; do
    if [ -e "$file" ]; then
        mkdir -p "$root$(dirname "$file")" && cp -rL "$file" "$root$(dirname "$file")/"
    fi
done
mkdir -p "$root/src"
for part in deploy pyproject.toml requirements.lock README.md dashboard migrations models seed_data; do
    cp -r "$here/$part" "$root/src/"
done
if [ -n "${PIP_CERT:-}" ]; then
    cp "$PIP_CERT" "$root/src/authorities.crt"
    for name in PIP_CERT SSL_CERT_FILE REQUESTS_CA_BUNDLE CURL_CA_BUNDLE; do
        export "$name=/src/authorities.crt"
    done
    unset SSL_CERT_DIR
fi
mount -t proc proc "$root/proc"
for folder in ${BIND:-}; do
    mkdir -p "$root$folder" && mount --bind "$folder" "$root$folder"
done
trap 'for folder in /proc ${BIND:-}; do umount -l "$root$folder"; done' EXIT
inside() { chroot "$root" /usr/bin/env "$@"; }

inside sh /src/deploy/steps.sh system build
inside sh /src/deploy/steps.sh install
inside sh /src/deploy/steps.sh system run
unset PIP_CERT SSL_CERT_FILE REQUESTS_CA_BUNDLE CURL_CA_BUNDLE
rm -rf "$root/src"

# What the image is for: a book is made and served by the image's own user, answers, and ends when it is told to.
set -- setpriv --reuid 875 --regid 875 --clear-groups env HOME=/book PATH=/opt/driftbook/bin:/usr/bin:/bin DRIFTBOOK_BOOK=/book/book.db
inside "$@" sh -c 'cd /book && driftbook init --site "Tried" --zone UTC --by steps'
chroot "$root" "$@" sh -c 'cd /book && exec driftbook serve --host 127.0.0.1 --port 8759 --log json' &
server=$! # of the server itself: each of these programs puts the next one into its own place
for _ in $(seq 1 60); do
    if inside "$@" python3 -c "import urllib.request as u; print(u.urlopen('http://127.0.0.1:8759/readyz', timeout=4).read().decode())" 2>/dev/null; then
        answered=yes && break
    fi
    sleep 0.5
done
kill -TERM "$server"
wait "$server"  # 0: it ended by itself, having answered what was running
[ "${answered:-no}" = yes ] && echo "The steps ran; the server answered and ended by itself."
