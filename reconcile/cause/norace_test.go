//go:build !race

package cause

const raceEnabled = false
