"""Race classes: rulebooks and their editions, and the check of a car against them."""
