//go:build race

package drift

const raceEnabled = true
