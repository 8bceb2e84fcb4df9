// Package render draws view models: plain text for a terminal, CSV, XLSX, maps as
// PNG, GeoTIFF and GeoJSON, control charts as PNG and SVG, and sheets (certificates, invoices,
// job sheets, stock statements, season records) as PDF and HTML.
//
// Owns: alignment, CSV form (RFC 4180), page and colours of maps and charts, raster and
// vector file formats (TIFF 6.0 with OGC GeoTIFF 1.1 keys, RFC 7946), tracing cells into contours.
//
// Does not own: what is shown and in which words (reports), what a cell got (reconcile/applied).
//
// Maps in documents are drawn for the size they are printed in (8 pixels a mm), so that scale and
// north are of 7 points whatever stands beside them; their legend is text, once for all maps of a page.
//
// A PDF's dates are the view model's, its fonts are embedded, and a letter they lack or that runs from right to left is a box; an HTML
// page needs nothing else and takes text from outside as text.
//
// Invariants: a text table has one line a row and no colour; CSV text that a
// spreadsheet would take for a formula is quoted with an apostrophe; the same map, chart or certificate gives the same
// bytes; the cells of a GeoTIFF are those of the map, not resampled; the polygons of a GeoJSON are valid,
// neither overlap nor leave a gap, and hold the middles of the cells of their band and no others; no colour
// of a map stands for anything alone: hatching says the same.
//
// Contours: marching squares over the middles of the cells (the case of two dimensions of W. E. Lorensen
// and H. E. Cline, Marching Cubes, 1987), straight between them, a saddle decided by the mean of its
// corners; squares across the field's outline are cut into two triangles, and the outline in each is
// the line between where it cuts their sides. Points on a side are moved to 512ths of it, so
// that no two of them ever fall together. Cost: O(cells + length of contours).
//
// Units: none of its own; maps are in metres on the field's plane, WGS84 degrees in GeoJSON.
package render
