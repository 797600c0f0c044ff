"""Every sentence that the models say to a person, in one place, so that a second language fits beside it."""
