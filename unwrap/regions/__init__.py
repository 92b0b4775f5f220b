"""Find surfaces, grow and trim regions, reflect, bridge details, make the patch."""
