//go:build !race

package coverage

const raceEnabled = false
