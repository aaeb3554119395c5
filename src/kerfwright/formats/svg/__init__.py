"""SVG drawings in: own walker, own path grammar, own style cascade.

From the file to plain arrays: `tree` parses and guards, `walk` goes through the elements that are
drawn, `path_data` and `shapes` give their outlines, `outlines` puts them into millimetres and
`fitting` turns what is no arc into arcs. Rules are those of SVG 2 (W3C candidate recommendation,
2018) and, where that left them unchanged, SVG 1.1 second edition (2011); chapter numbers in the
files are given from memory.
"""
