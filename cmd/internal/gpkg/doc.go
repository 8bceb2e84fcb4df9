// Package gpkg writes layers as an OGC GeoPackage 1.3, one SQLite file.
//
// Owns: the tables that the standard wants (gpkg_spatial_ref_sys,
// gpkg_contents, gpkg_geometry_columns), the header and well-known binary of
// its geometries, which SQLite writes it (modernc.org/sqlite, pure Go).
//
// Does not own: what a layer shows (reports.GeoLayer); files (the caller's).
//
// It stands under cmd because SQLite is reached by database/sql, which reports
// may not import, and so that the library is linked into the program alone.
//
// Invariants: the same layers and time give the same bytes: the database is
// written in memory in one order, and its dates are the caller's. Every
// geometry is a MultiPolygon with its envelope; a layer's extent is that of its
// geometries. There is no spatial index: a season has few features.
//
// Units and times: WGS84 degrees (EPSG:4326), longitude first; UTC.
package gpkg
