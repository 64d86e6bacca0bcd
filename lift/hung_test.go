package lift_test

import (
	"testing"

	"plumbhook/lift"
)

// TestSlip: the range is over both ways of running; the most follows the force
// that the frictionless one may come to.
func TestSlip(t *testing.T) {
	l := lift.HungLeg{TensionN: 100, SlipLow: []float64{120, 90}, SlipHigh: []float64{85, 130}}
	if least, most := l.Slip(); least != 85 || most != 130 {
		t.Errorf("from %v to %v N", least, most)
	}
	if most := l.SlipMost(110); most != 143 {
		t.Errorf("most %v N", most)
	}
	var bare lift.HungLeg
	if least, most := bare.Slip(); least != 0 || most != 0 || bare.SlipMost(10) != 0 {
		t.Error("a leg without friction slips")
	}
}
