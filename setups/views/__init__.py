"""The library's pages, one file a thing that a person does."""
