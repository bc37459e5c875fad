"""The pages of race days, one file for each thing that a person does there."""
