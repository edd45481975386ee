"""A piece of scrap that is cut to find out what the job's cutters really do."""
