"""What planner and verifier agree on: features, blank, clamping, operations, fill, moved work."""
