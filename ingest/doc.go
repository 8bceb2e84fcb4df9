// Package ingest carries events from the stream into the book: fetch a
// batch, check each event against the contract, commit, acknowledge,
// announce the marks.
//
// Owns: the loop and its order, the ports Source, Store and Announcer, what a
// rejection is.
//
// Does not own: NATS (ingest/hub), DuckDB (ingest/book), geometry, money,
// rules of the trade.
//
// Invariants: a message is acknowledged only after the commit that holds it
// (or its rejection) has returned without error; nothing is dropped: what
// fails the contract is committed as a reject with its bytes; marks are
// announced after the commit they speak of.
//
// Units and times: times of receipt are UTC and come with the delivery.
package ingest
