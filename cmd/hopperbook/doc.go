// Command hopperbook is the hub and the office's commands.
//
// Owns: flags, help, what goes to stdout and stderr, exit statuses; one file a
// command.
//
// Does not own: any logic; see cmd/internal, ingest, reconcile and reports.
//
// Invariants: data goes to stdout, everything else to stderr; every command
// that prints a table knows --json and --csv; a progress bar is drawn only
// when stderr is a terminal.
//
// Units and times: tables name theirs; machine output is SI and UTC.
package main
