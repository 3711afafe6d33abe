"""What customers see: offers, made field by field of the answers for the shop, and the catalogue of what is sold.

`first_orders` computes before any customer asks what the first order of each shoe needs.

In: answers for the shop, the book, a key's pins. Out: answers without a cost, a rate, a margin or a setting. Read
`offers` first.
"""
