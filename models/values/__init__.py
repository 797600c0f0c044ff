"""Frozen values: if one exists, it is valid."""
