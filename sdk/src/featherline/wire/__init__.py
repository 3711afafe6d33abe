"""Wire types: everything that crosses the wire, once."""
