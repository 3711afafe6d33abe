"""The shop book: loading, checking, revision."""
