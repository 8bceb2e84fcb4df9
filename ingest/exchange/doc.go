// Package exchange reads and writes the files people bring and take: events as
// JSON lines, tracks as GPX, boundaries as GeoJSON; and tells by its bytes what a log is.
//
// Owns: file formats, and giving an identity to events that bring none.
// Does not own: the contract (schemas), publishing (ingest/hub), the book, NMEA (ingest/gnss).
//
// Invariants: reading the same file twice gives the same events, byte for
// byte, with the same identities; a line that cannot be read is passed on
// whole, so that it ends in the book's rejects and not nowhere. A GPX track or boundary is
// read whole or refused with what is wrong and where; memory is bounded by the file.
//
// Units and times: as in the contract; positions in degrees WGS84.
package exchange
