// Package hub is the bus: the embedded NATS server with JetStream (or an
// existing one), who may speak on it, the stream of events, the questions of
// the office and the client that publishes and asks.
//
// Owns: the server's life, its users and their rights, enrolment and
// revocation, the hub's own CA and certificate, the stream and its consumer,
// the wire form of questions, answers and packets, the file that says where a
// book's hub answers.
//
// Does not own: the book (ingest/book), what a question or a packet means
// (cmd), the contract (schemas), the tablet's side of it (ingest/link).
//
// Invariants: the stream is a work queue, a message leaves it when the book
// has committed it; Nats-Msg-Id is "source#sequence@digest", so that the
// server's duplicate window never swallows other bytes under the same
// identity; an answer is complete or an error, never cut short unseen.
//
// Who may what: every connection proves an NKey, on loopback too, since a port
// forwarded to this machine, or another user of it, would be a way into the
// book. The office's seed lies in the book's folder (office.nk, for its
// owner's eyes alone): whoever can read it has the office's rights. A device
// publishes book.<contractor>.<device>.> and cab.<contractor>.<device>, and
// reads its own marks, news and inboxes. Only a connection as "enrol" needs no
// key: it can hand in a one-time code and hear the answer. A reply subject is
// chosen by the asker, so the hub answers devices only below their own inbox.
// Anything but loopback speaks TLS 1.3 under the hub's own CA (hub-ca.pem,
// hub-ca.key), which signs nothing but the hub's certificates: pinning it is
// pinning the hub, whatever address it has. Which CA tablets were told is kept
// beside the devices, and another one is never made or taken in its place: that
// would lock every tablet out. The stream acknowledges an event to the reply
// subject its device chose; a device can so make the server's acknowledgement
// appear on another subject, which is a reject there and moves nothing. On loopback without TLS nothing can
// be overheard or taken over from the network, because nothing of it is on the
// network. What is refused is told in the log and kept (refused.json).
// A server of somebody's own keeps its own users; nothing of this is done there.
//
// Units and times: sizes in bytes; times of receipt are the server's, UTC.
package hub
