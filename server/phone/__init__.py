"""Notices on their way out to the phone."""
