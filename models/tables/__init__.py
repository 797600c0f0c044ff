"""Classes of rows: what the database holds, one family a file; no behaviour."""
