"""What does a flagged shot mean for the disc that is gauged a day later? The sources stand in the modules."""
