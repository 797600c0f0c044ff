"""Importing a file through the browser: sent, looked at, corrected, and then put into the book by the same checks as by the command."""
