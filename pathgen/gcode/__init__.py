"""Programs as text: writing them, and reading them back by code that shares nothing with the writer."""
