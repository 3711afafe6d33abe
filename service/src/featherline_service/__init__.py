"""The featherline service: what a pair of shoes can take, with which settings, and at what price."""
