"""Metrics and traces.

In: requests as they begin and end. Out: counters and histograms for Prometheus, spans for OTLP.
Read `metrics.py` first.
"""
