"""Files in: reading, mapping to fields, checking; problems are values, never exceptions."""
