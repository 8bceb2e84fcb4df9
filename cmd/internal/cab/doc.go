// Package cab puts the tablet's program together: disk, agent, page, receiver,
// switch, pass logs and the link to the office.
//
// Owns: who is told what, in which order things start and stop, the folder of
// a tablet, the adapters between packages that must not know each other.
//
// Does not own: what any of them does; flags and help (cmd/hopperbook-tablet).
//
// Invariants: whatever is missing (receiver, switch, enrolment, link), the
// page is served and entries are booked; a part that fails is told and tried
// again, and takes no other with it; at the end the receiver stops first, then
// the last pass log is made, then the disk is closed.
//
// Units and times: those of the packages it joins.
package cab
