"""Where to cut, how to cut, fitting slits."""
