"""The only way out: one question, one documented value; and the only SQL."""
