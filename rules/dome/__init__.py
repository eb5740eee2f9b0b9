"""What a flagged shot means for the disc that is gauged a day later."""
