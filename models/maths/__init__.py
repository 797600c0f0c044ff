"""One job: pure numpy functions, each with its source; no clock, no database."""
