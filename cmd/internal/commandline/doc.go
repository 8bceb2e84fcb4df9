// Package commandline is what the command lines of both programs share.
//
// Owns: what a wrong command line is told, the table of exit statuses in the
// help.
//
// Does not own: commands, flags, what is printed.
//
// Invariants: none of its own.
//
// Units and times: none.
package commandline
