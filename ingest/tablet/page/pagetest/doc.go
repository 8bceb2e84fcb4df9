// Package pagetest drives the operator's page in a headless Chromium, for the
// tests of the page and of the programs that serve it. No program imports it.
//
// Owns: the browser, touching and typing as an operator does, pictures.
//
// Does not own: what a test asserts.
//
// Invariants: a test without Chromium is skipped with a message that says what
// to install, and so is one in ./test's race step; every wait ends with what the page shows.
//
// Units and times: CSS pixels.
package pagetest
