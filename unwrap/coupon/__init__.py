"""The test print and what its readings mean."""
