"""Measurements that DEVELOPERS.md quotes, each repeatable with manage.py bench."""
