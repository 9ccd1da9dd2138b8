"""Files: reading and checking what users write, and writing without ever leaving half a file."""
