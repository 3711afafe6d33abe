"""Film, times, spoilage and price: pure functions on exact decimals."""
