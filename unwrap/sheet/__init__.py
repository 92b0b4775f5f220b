"""Outline, bleed, layout, plates, SVG, PDF."""
