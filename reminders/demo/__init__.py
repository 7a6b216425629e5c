"""The invented clinic: read from demo_fixtures/ and lived through, by the real services, up to this moment."""
