// Package paper asks the book for what a document shows and draws it into files.
//
// Owns: which files a document becomes (Document), a folder of season records
// (Pack), what of either was altered since, the maps of an appendix or a
// job sheet, that no file is left half written (Write).
//
// Does not own: the answers (cmd/internal/desk), words and tables (reports,
// reports/invoice), drawing (reports/render).
//
// Invariants: a file is drawn whole before it is made. A map that cannot be
// drawn is left out and said, and keeps no document from being drawn.
//
// Units and times: those of the answers.
package paper
