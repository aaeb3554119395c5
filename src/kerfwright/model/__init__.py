"""Frozen records the stages hand on, in the order of the flow; no algorithms, no I/O.

drawing -> operation -> part -> sheet -> marks -> fit -> verdict -> tooling -> material -> table
-> cut -> motion -> dialect -> hold -> design -> verification -> job. A file may use files to its
left only.
"""
