"""A finished board standing on its edge."""
