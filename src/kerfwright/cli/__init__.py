"""The command line: one face of the job room."""
