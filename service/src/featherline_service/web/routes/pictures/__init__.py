"""Pictures of an order for its customer, and the addresses at which they are read without a key.

In: an order. Out: pictures, their alternative texts, and addresses that hold the order enciphered.
Read `addresses.py` first.
"""
