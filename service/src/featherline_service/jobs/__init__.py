"""One module per question: pure functions from the book and a request to an answer."""
