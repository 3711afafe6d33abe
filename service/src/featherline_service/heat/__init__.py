"""Heat conduction through a pressed stack, bond and damage: pure functions on SI numbers and arrays."""
