// Package exchange reads and writes the files people bring and take: for now
// events as JSON lines.
//
// Owns: file formats, and giving an identity to events that bring none.
// Does not own: the contract (schemas), publishing (ingest/hub), the book.
//
// Invariants: reading the same file twice gives the same events, byte for
// byte, with the same identities; a line that cannot be read is passed on
// whole, so that it ends in the book's rejects and not nowhere.
//
// Units and times: as in the contract.
package exchange
