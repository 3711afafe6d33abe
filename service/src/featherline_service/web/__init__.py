"""The HTTP side: routes, decoding, problems, the description. Nothing here computes."""
