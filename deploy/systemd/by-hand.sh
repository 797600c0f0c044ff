#!/bin/sh
# Runs one command of driftbook as the service does: as its user, in its folder, with the settings of /etc/driftbook.env.
# So it works on the book that is served, and makes no file that the server cannot read.  Names of files are those of its
# folder, /var/lib/driftbook: give the whole path of any other, which that user must be able to read.  For root:
#
#   install -m 0755 deploy/systemd/by-hand.sh /usr/local/sbin/driftbook
#   driftbook verify
#   PROGRAM=/opt/driftbook-REVISION/bin/driftbook driftbook backup      (by the version before, which steps.sh has kept)
set -eu
exec runuser -u driftbook -- sh -c '
    set -a
    . /etc/driftbook.env
    HOME=/var/lib/driftbook
    cd "$HOME"
    umask 077
    exec "${PROGRAM:-/opt/driftbook/bin/driftbook}" "$@"' driftbook "$@"
