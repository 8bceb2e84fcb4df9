// Command generate writes the JSON Schemas and the AsyncAPI document of the
// contract below the folder it is given, and removes schemas of types that are
// gone: go generate ./schemas.
//
// Owns: writing the files. Does not own: what is in them (schemas.Generate).
//
// Invariants: the same contract gives the same bytes.
//
// Units and times: none.
package main
