//go:build !race

package demo

const raceEnabled = false
