"""The club and its site: settings, addresses, members."""
