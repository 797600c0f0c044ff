"""Many jobs: pure functions over numpy columns; no clock, no database, no screen."""
