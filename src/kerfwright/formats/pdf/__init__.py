"""PDF in: the lines of one page, in the reading process (`reader`), and its picture (`raster`).

The order of work: `document` (file to page), `page` (boxes, turn, unit: the artwork frame),
`lexer` (content to operators), `machine` (operators to painted outlines, with `layers`, `steps`
and `inks` naming them), `outlines` (matrices applied, outlines told apart), `fitting` (cubics to
arcs), `clips` (what a clip hides).

Written after ISO 32000-1:2008 (from memory where a table is quoted) and, for processing steps,
after the names of ISO 19593-1:2018 as an open model of the PDF object tree lists them. Strokes
give their centre lines; text, pictures and shadings are print and are counted.
"""
