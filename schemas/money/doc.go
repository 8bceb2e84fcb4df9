// Package money is decimal money: an amount in a currency, never a float.
//
// Owns: amounts, their arithmetic and the two roundings of the trade.
// Does not own: agreements, taxes, what is billed (reconcile/rating).
//
// Invariants: two currencies never mix; an amount is written with exactly the
// minor digits of its currency. Decimal arithmetic is shopspring/decimal's.
//
// Units: major units of an ISO 4217 currency.
package money
