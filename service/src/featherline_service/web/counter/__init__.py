"""The counter: a page on which whoever stands at the shop's counter asks the service, by its public interface alone.

In come requests of browsers, out go the files of `static`; nothing here computes or reads the book. Read `files` first.
"""
