//go:build !race

package drift

const raceEnabled = false
