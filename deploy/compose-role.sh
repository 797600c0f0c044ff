#!/bin/sh
# Run once by the database's container when its folder is empty: makes the role with which the server works.
set -eu
psql --set ON_ERROR_STOP=1 --set secret="$(cat /run/secrets/app)" -U "$POSTGRES_USER" -d "$POSTGRES_DB" <<'SQL'
CREATE ROLE driftbook_app LOGIN PASSWORD :'secret';
SQL
