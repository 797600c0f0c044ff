"""One file a page: a frozen dataclass of what the page shows, and the pure builder that fills it."""
