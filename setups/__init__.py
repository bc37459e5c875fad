"""The library: platforms, parts, bodies and the configurations that bring them together."""
