"""Small faults put into the code, and the tests that should notice them."""
