// Package money is decimal money: never a float.
//
// Owns: the currencies of ISO 4217 and their minor digits, the two roundings
// of the trade, how an amount is read and written.
// Does not own: agreements, taxes, what is billed (reconcile/rating).
//
// Invariants: an amount is written with exactly the minor digits of its
// currency; rounding is odd (Round(-x) = -Round(x)), so that a credit is the
// exact negative of what it takes back. Decimal arithmetic is
// shopspring/decimal's.
//
// Units: major units of an ISO 4217 currency.
package money
