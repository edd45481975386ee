"""What the maker is told: data, words, the setup sheet."""
