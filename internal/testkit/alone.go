package testkit

import "testing"

// Alone marks a test that computes for long and shares nothing of its own
// between goroutines: the race detector, which makes it ten times as slow, finds
// nothing there that the tests of the packages below do not show it. `make test`
// runs it in a pass without the detector. A test that starts listeners, stations
// or writers is not alone.
func Alone(t testing.TB) {
	t.Helper()
	if raceDetector {
		t.Skip("computes alone: runs in the pass without the race detector")
	}
}
