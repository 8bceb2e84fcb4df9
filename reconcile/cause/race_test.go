//go:build race

package cause

const raceEnabled = true
