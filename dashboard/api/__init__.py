"""The JSON interface: one description, the routes that it describes, and what they answer."""
