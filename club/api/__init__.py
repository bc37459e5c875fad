"""What the club adds to the REST interface: who calls, and what they have in the garage."""
