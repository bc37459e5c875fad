"""A member's garage: what is owned, what it fits, and what to buy for more."""
