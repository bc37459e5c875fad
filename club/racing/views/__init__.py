"""The pages of race classes: to read, to write, to check a car."""
