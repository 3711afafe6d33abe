"""From the tables of TOML files to records: layers, field by field, with the defaults of their class.

In: the parts of each record, a table of each folder that says something of it. Out: records, with a citation for each
value, and the parts that they are made of.
Read `layers.py` first, then `assembly.py`.
"""
