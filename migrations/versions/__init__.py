"""Migrations of the book; each revision is frozen and imports only Alembic and SQLAlchemy."""
