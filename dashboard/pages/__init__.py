"""One file a page: who looks at it, its ids, its layout, thin callbacks, ``register(app)``."""
