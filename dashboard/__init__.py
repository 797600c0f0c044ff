"""Everything that a person touches: the command, the pages, the papers."""
