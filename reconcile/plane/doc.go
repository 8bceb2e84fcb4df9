// Package plane lays a stretch of the WGS84 ellipsoid flat, so that the rest of
// the program can measure in metres with Cartesian arithmetic.
//
// Owns: the projection, distances between neighbouring positions, field
// boundaries (lat/lon rings turned into polygons in metres) and their areas.
//
// Does not own: swaths and their union (coverage), the cleaning of fixes (track).
//
// Method: ellipsoidal transverse Mercator, central meridian and origin at the
// plane's own origin, scale 1 on the central meridian. Formulas: J. P. Snyder,
// Map Projections: A Working Manual, USGS Professional Paper 1395 (1987),
// equations 8-9 to 8-15, with the meridian arc as Helmert's series in the third
// flattening (terms to n^4). The tests do not lean on the formulas: they check the arc
// against numeric integration, the mapping against conformality (scale equal in
// every direction; with a true central meridian that leaves no other mapping than transverse
// Mercator), and areas against geodesic polygons computed with GeographicLib Planimeter 2.1.2.
//
// Error: the linear scale at x metres east or west of the origin is 1 + x²/(2R²),
// R about 6.37e6 m, so an area there is too large by x²/R²:
//
//	x = 1 km  2.5e-8      x = 10 km  2.5e-6      x = 20 km  1e-5      x = 60 km  9e-5
//
// A field 20 km across, with the origin in its middle, is therefore right within
// 2.5 ppm; north-south extent adds nothing. Straight lines on the plane stand for geodesics: a
// side of length L at distance x bends by at most xL²/(8R²), 0.1 mm for 2 km at 2 km. Both
// together are less than (x² + L²/8)/R² of the area, which the tests hold against Planimeter.
// Boundary.AreaM2 takes both away: within 0.0002 m2 of Planimeter on fields up to 20 km
// across between latitudes -60 and 70, the antimeridian included (asserted: 0.01 m2).
// The series itself is right within 1 mm inside ReachM of the central
// meridian at latitudes up to 70 degrees; beyond that nothing is promised.
//
// Invariants: the zero Plane is the plane at (0, 0); Inverse undoes Forward;
// longitudes are compared around the circle, so the antimeridian is no border.
//
// Units: degrees WGS84 and metres, as the names say. No times.
package plane
