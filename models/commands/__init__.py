"""The only way in: one verb a file, one transaction, one entry for each thing said."""
