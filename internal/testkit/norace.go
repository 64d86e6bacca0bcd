//go:build !race

package testkit

const raceDetector = false
