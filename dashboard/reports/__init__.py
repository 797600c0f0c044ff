"""Printed pages, built from the same views and figures as the screen."""
