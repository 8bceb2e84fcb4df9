// Package cause ranks likely causes of drift.
package cause
