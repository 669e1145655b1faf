"""What joblog says aloud, from clips that were rendered once: no voice engine at run time."""
