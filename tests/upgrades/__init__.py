"""Databases of earlier days, migrated and verified."""
