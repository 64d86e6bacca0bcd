//go:build race

package testkit

const raceDetector = true
