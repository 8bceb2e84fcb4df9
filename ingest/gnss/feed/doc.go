// Package feed keeps a GNSS receiver or a spreading switch connected and hands
// out what it says.
//
// Owns: the address syntax; opening serial ports, TCP connections, UDP sockets
// and files; opening them again, with a pause that grows and is never the same
// twice; noticing silence; replaying a file at a chosen speed; reading the
// modem lines and the 0/1 lines of a switch.
//
// Does not own: sentences and fixes (ingest/gnss), what the fixes are used for
// (ingest/tablet/drive).
//
// # Addresses
//
//	serial:///dev/ttyUSB0?baud=115200   a serial port, 8N1; serial://COM3 on Windows; 4800 baud unless said
//	tcp://HOST:PORT                     a receiver or a program that shares one; this is the client
//	udp://:10110                        datagrams sent to this port; udp://127.0.0.1:10110 takes only local ones
//	file:PATH?speed=10&times=shifted    a recorded log; speed=max as fast as possible (default 1);
//	                                    times=kept (default) as recorded, times=shifted as if it began now
//
// A switch that says when product leaves:
//
//	line:cts                            a modem line of the receiver's own serial port: cts, dsr, dcd or ri
//	serial:///dev/ttyUSB1?line=dsr      a modem line of another port
//	tcp://HOST:PORT, udp://:10111, stdin:
//	                                    lines of text, "1" on and "0" off, at each change and at least every 5 s
//
// invert=yes turns a switch around. A path cannot hold a question mark.
//
// Invariants: nothing blocks for ever: opening takes at most 10 s, a silent
// connection is closed after Config.SilentAfter and opened again, and the end
// of the context ends everything; garbage only counts; a switch that is not
// heard is unknown, never still on.
//
// Serial ports need the right to open them (group dialout on most Linux
// systems). Android builds have the same code, but an app has no such right
// there: a receiver is reached over TCP or UDP.
//
// Units and times: instants of the device's clock; fixes carry GNSS time.
package feed
