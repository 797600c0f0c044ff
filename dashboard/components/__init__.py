"""Pieces of pages, with no access to data."""
