"""Read files, units, axes, health, the outside skin, views."""
