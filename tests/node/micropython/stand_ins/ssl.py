"""Stands in for encryption, which is not asked for."""
