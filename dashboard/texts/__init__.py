"""Texts of single pages, one table a page; ``dashboard.words`` puts them together."""
