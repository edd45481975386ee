"""A shape, a top and a cutter to a Toolpath: one file or folder for each way of cutting."""
