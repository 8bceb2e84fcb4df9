// Package page serves the operator's page: one page of plain HTML, CSS and
// JavaScript modules, embedded, that works without any network because the
// tablet itself serves it.
//
// Owns: the page and its texts in three languages, the display choice of units
// and the exact conversion of what is typed, who may ask (same origin, known
// host names), and that a command sent twice is carried out once.
//
// Does not own: what a command does and what is to be seen (package tablet),
// the listener and its address (cmd).
//
// Invariants: nothing is asked of any other host; what was typed is kept until
// the agent has confirmed it; every word comes from the one catalogue
// static/texts.json; a key that was carried out once is not carried out again:
// within a run by this package, after a restart by the agent (tablet.WithKey).
//
// Units and times: JSON is in kg, m, m2, km/h, kg/ha and UTC; the page shows
// them in the operator's choice and the machine's time zone.
package page
