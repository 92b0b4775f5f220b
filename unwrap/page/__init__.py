"""The marking page."""
