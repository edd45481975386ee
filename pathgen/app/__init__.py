"""The command line, folders and the terminal; the whole way from a job to its programs."""
