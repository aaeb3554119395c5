"""DXF in: entities to lines, arcs and curves, in the reading process (`reader`).

The order of work: `load` (text to entities), `collect` (entities to shapes, block by block),
`expand` (blocks placed, counted before they are), `plane` (three to two dimensions, arcs kept
as arcs), `curves` (the rest fitted). `drawing` runs in the calling process.

Written after the published DXF reference; arcs are never approximated by cubic curves on the
way. Coordinates of an entity are in its own system (OCS) or the world's (WCS); `shapes` brings
all to the world of its block.
"""
