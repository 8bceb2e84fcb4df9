// Package hub is the bus: the embedded NATS server with JetStream (or an
// existing one), the stream of events, the questions of the office and the
// client that publishes and asks.
//
// Owns: the server's life, the stream and its consumer, the wire form of
// questions and answers, the file that says where a book's hub answers.
//
// Does not own: the book (ingest/book), what a question means (cmd), the
// contract (schemas).
//
// Invariants: the stream is a work queue, a message leaves it when the book
// has committed it; Nats-Msg-Id is "source#sequence@digest", so that the
// server's duplicate window never swallows other bytes under the same
// identity; an answer is complete or an error, never cut short unseen.
//
// Units and times: sizes in bytes; times of receipt are the server's, UTC.
package hub
