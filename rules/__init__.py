"""What does process control reckon? Numbers in, numbers out; no clock, no files, nothing else of evenrun.

Every module says first which question it answers and from which published source.
"""
