"""Tests by generated requests, run by hand at length; the suite runs a small part."""
