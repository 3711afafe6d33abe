"""Repricing: files of orders priced again by many processes, on one machine or on a cluster.

In: orders as lines of JSON or as Parquet, and the book. Out: a file for each block of lines, with the answers that the
service gives. Read `answers.py` first, then `command.py`.
"""
