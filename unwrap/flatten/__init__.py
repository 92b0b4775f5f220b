"""First flattening, relaxing to the film, strain figures, the proven bound."""
