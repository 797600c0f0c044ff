#!/bin/sh
# Runs a command of driftbook in a container of compose.example.yml, with the password of its role in the database.
# The client library of PostgreSQL takes it from the environment; in an address some signs of it would mean something else.
set -eu
PGPASSWORD=$(cat "$PASSWORD_FILE")
export PGPASSWORD
exec driftbook "$@"
