"""Outline, bleed, layout, plates, SVG, PDF: from finished pieces to sheets that a printer takes."""
