"""The rules of Saltmarsh Quay, an invented shop, as plug-ins of featherline: one of each kind."""
