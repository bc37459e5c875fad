"""What the pages and the API ask of the library, one file a question."""
