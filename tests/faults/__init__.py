"""What happens when something breaks: nothing lost, nothing doubled, and a clear message."""
