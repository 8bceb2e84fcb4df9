// Package render draws view models: plain text for a terminal, CSV, maps as
// PNG, GeoTIFF and GeoJSON, and certificates as PDF and HTML.
//
// Owns: alignment, CSV form (RFC 4180), page and colours of a map, raster and
// vector file formats (TIFF 6.0 with OGC GeoTIFF 1.1 keys, RFC 7946), tracing cells into polygons.
//
// Does not own: what is shown and in which words (reports), what a cell got (reconcile/applied).
//
// A PDF's dates are the view model's, its fonts are embedded, and a letter they lack is a box; an HTML
// page needs nothing else and takes text from outside as text.
//
// Invariants: a text table has one line a row and no colour; CSV text that a
// spreadsheet would take for a formula is quoted with an apostrophe; the same map or certificate gives the same
// bytes; the cells of a GeoTIFF are those of the map, not resampled; the polygons of a GeoJSON are valid,
// cover the field's cells once, and no colour of a map stands for anything alone: hatching says
// the same.
//
// Units: none of its own; maps are in metres on the field's plane, WGS84 degrees in GeoJSON.
package render
