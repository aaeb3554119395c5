"""How the database of `SqlStore` came to its present form, step by step."""
