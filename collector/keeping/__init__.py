"""Keeping what is stored: backups while the service runs, and the values of old runs in files.

    backup        a whole copy of the store, with a note of what is in it
    restore       a copy back into a new store, checked against its note
    archive       the values of a closed run out of the store, and back
    archive_file  the Parquet file of one run
"""
