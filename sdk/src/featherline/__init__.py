"""Client and wire types of featherline."""
