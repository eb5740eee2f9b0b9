"""The arithmetic of process control: numbers in, numbers out; no clock, no files, nothing else of evenrun."""
