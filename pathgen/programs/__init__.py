"""A clamping to paths to text: plan, zero, waste, limits, timing, writing."""
