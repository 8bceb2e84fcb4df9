// Package linktest damages a link on purpose: a TCP proxy that cuts, and that
// counts what passes.
//
// Owns: the proxy.
//
// Does not own: when to cut; the test says so.
//
// Invariants: what has passed has passed whole and in order up to the cut; no
// time is read, a cut comes after a number of bytes or by a call.
//
// Units and times: bytes.
package linktest
