"""Fills, lining, bands, lettering, artwork; from body to flat."""
