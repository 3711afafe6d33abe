"""Pictures and the bench card: plain geometry and values in, SVG, HTML and PDF out. Knows no book and no HTTP."""
