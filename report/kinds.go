package report

import (
	"slices"

	"plumbhook/card"
	"plumbhook/fault"
	"plumbhook/verdict"
)

// Before and After are the kinds of sheet by their short names, as command line
// and API have them: what goes with a lift, and what comes of one.
var (
	Before = []string{"plan", "crew", "readings", "briefing", "issue"}
	After  = []string{"customer", "record", "near-miss"}
)

// Of prints a sheet of one of the kinds Before, of the lift as first rigged.
func Of(kind string, p *verdict.Plan, o Options) ([]byte, error) {
	switch kind {
	case "plan":
		return LiftPlan(p, o)
	case "issue":
		return GearIssue(p, o)
	}
	k, err := card.New(p, 0, card.Day{})
	if err != nil {
		return nil, err
	}
	switch kind {
	case "crew":
		return CrewCard(k, o)
	case "readings":
		return ExpectedReadings(k, o)
	case "briefing":
		return Briefing(k, o)
	}
	return nil, unknown(kind)
}

// OfWatched prints a sheet of one of the kinds After; stop says which one a near
// miss is about, from 1.
func OfWatched(kind string, w *Watched, stop int, o Options) ([]byte, error) {
	switch kind {
	case "customer":
		return Customer(w, o)
	case "record":
		return FullRecord(w, o)
	case "near-miss":
		return NearMiss(w, stop, o)
	}
	return nil, unknown(kind)
}

func unknown(kind string) error {
	return fault.New(fault.Reference, "there is no sheet %q", kind).In("kind").Fix("choose one of %q", slices.Concat(Before, After))
}
